"""Results sample by sample: the same numbers as the windows, wherever the span begins."""

from __future__ import annotations

from dataclasses import fields
from datetime import timedelta

import numpy as np
import pytest

from diagnostics.analyse import SampleResults
from fleet.analysis import samples as module
from fleet.analysis import table
from fleet.analysis.days import analyse_span
from fleet.analysis.samples import per_sample
from fleet.models import System
from fleet.timeseries.store import Block
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


def test_they_are_what_the_windows_rest_on(system: System) -> None:
    whole = analyse_span(system.pk, building.START.date())
    of_day = whole.time >= np.datetime64(building.START.replace(tzinfo=None), "us")
    again = per_sample(system, building.START, building.START + 24 * HOUR)
    assert again.time.size > 0
    for field in fields(SampleResults):
        np.testing.assert_array_equal(
            getattr(again, field.name), getattr(whole, field.name)[of_day], field.name
        )


def test_days_read_together_are_those_read_alone(
    system: System, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A day is missing, then come two, of which the second lacks channels that the first has."""
    building.take_in(system, building.cooling(4.0, from_hour=72.0))
    last = building.cooling(4.0, from_hour=100.0)
    outdoor = {name: it for name, it in last.outdoor.items() if "gas" not in name}
    indoor = {key: it for key, it in last.indoor.items() if key[1] != "call"}
    building.take_in(system, Block(last.time, outdoor, indoor))
    span = building.START, building.START + 120 * HOUR
    together = table.of(per_sample(system, *span))
    assert together.height == 28 * 60
    monkeypatch.setattr(module, "MOST_TOGETHER", 1)
    assert table.of(per_sample(system, *span)).equals(together)


def test_a_span_without_samples_has_no_rows(system: System) -> None:
    nothing = per_sample(system, building.START - 24 * HOUR, building.START)
    assert table.of(nothing).height == 0
    empty = building.registered(code="R2")
    columns = table.of(per_sample(empty, building.START, building.START + HOUR)).columns
    assert columns == table.of(nothing).columns
