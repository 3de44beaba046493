"""What weights.toml is rounded from: the hypothesis of every drawn fault, and its likelihood."""

from __future__ import annotations

from itertools import islice

import numpy as np
import pytest

from diagnostics.weighing import weigh
from fixtures.exams import exam
from tests.benchmarks import spread
from tests.benchmarks.judgement import groups


def test_every_single_fault_of_an_exam_has_a_hypothesis_of_its_condition() -> None:
    table = weigh.table()
    condition = dict(zip(table.hypotheses, table.condition, strict=True))
    alone = [spec for spec in exam(1, 240, 1.0) if len(spec.conditions) == 1]
    assert alone
    for spec in alone:
        (name,) = spec.conditions
        assert weigh.CONDITIONS[condition[spread.way_of(spec.faults)]] == name


def test_wires_of_a_liquid_thermistor_and_of_any_cool_pipe_have_a_hypothesis() -> None:
    wired = islice(groups.swapped_wires(groups.Size(1, 60, 1.0)), 60)
    ways = {spread.way_of(spec.faults) for spec in wired} - {"wires of others swapped"}
    assert len(ways) == 5
    table = weigh.table()
    sensors = weigh.CONDITIONS.index("sensor_fault")
    assert all(table.condition[table.hypotheses.index(way)] == sensors for way in ways)


def test_a_stray_value_moves_the_likeliest_bell_hardly() -> None:
    sigmas = np.full(201, 0.5)
    values = 3.0 + 1.0 * np.linspace(-2.0, 2.0, 200)
    mean, wide = spread.likeliest(np.append(values, 40.0), sigmas, span=60.0)
    assert mean == pytest.approx(3.0, abs=0.1)
    # the values' own variance, 4/3, less that of the measurement
    assert wide == pytest.approx(np.sqrt(4.0 / 3.0 - 0.25), rel=0.1)
