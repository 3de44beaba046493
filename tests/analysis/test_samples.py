"""Results sample by sample: the same numbers as the windows, wherever the span begins."""

from __future__ import annotations

from datetime import timedelta

import numpy as np
import pytest

from fleet.analysis import backlog, table, window_rows
from fleet.analysis.samples import per_sample
from fleet.models import System
from tests.analysis import building

pytestmark = pytest.mark.django_db

HOUR = timedelta(hours=1)


@pytest.fixture
def system() -> System:
    system = building.registered()
    building.take_in(system, building.cooling(20.0, from_hour=10.0))
    return system


def test_every_stored_sample_of_the_span_has_one_row(system: System) -> None:
    analysis = per_sample(system, building.START + 12 * HOUR, building.START + 25 * HOUR)
    assert analysis.time.size == 13 * 60
    assert analysis.time[0] == np.datetime64("2026-03-02T12:00:00")
    assert analysis.time[-1] == np.datetime64("2026-03-03T00:59:00")
    assert analysis.subcooling_k.shape == analysis.hunting.shape == analysis.time.shape


def test_a_short_span_is_cut_from_the_same_numbers_as_a_long_one(system: System) -> None:
    whole = table.of(per_sample(system, building.START, building.START + 48 * HOUR))
    for start, end in ((11.3, 11.8), (23.5, 24.5), (26.0, 47.0)):
        low, high = building.START + start * HOUR, building.START + end * HOUR
        part = table.of(per_sample(system, low, high))
        assert part.equals(whole.filter((whole["time"] >= low) & (whole["time"] < high)))


def test_the_windows_are_those_that_were_stored(system: System) -> None:
    backlog.drain()
    stored = window_rows.load(system.pk)
    again = per_sample(system, building.START, building.START + 48 * HOUR).windows
    assert again.start.tolist() == stored.start.tolist()
    assert again.features.tobytes() == stored.features.tobytes()


def test_a_span_without_samples_has_no_rows(system: System) -> None:
    nothing = per_sample(system, building.START - 24 * HOUR, building.START)
    assert table.of(nothing).height == 0
    empty = building.registered(code="R2")
    columns = table.of(per_sample(empty, building.START, building.START + HOUR)).columns
    assert columns == table.of(nothing).columns
