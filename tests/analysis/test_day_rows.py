"""Pooled days follow the windows, and judge as the windows do."""

from __future__ import annotations

from datetime import date

import numpy as np
import pytest

from diagnostics import pooling
from diagnostics.windows import FEATURES, INDEX, Windows, empty
from fleet.analysis import day_rows, window_rows
from fleet.models import DueDay, PooledDay, System
from tests.analysis.building import registered

DAY = date(2026, 3, 5)


@pytest.fixture
def system(db: None) -> System:
    return registered()


def windows(subcooling_k: list[float], day: date = DAY) -> Windows:
    """A quarter of an hour each from midnight on, with a hole of NaN in every other feature."""
    midnight = np.datetime64(day, "us")
    start = midnight + np.arange(len(subcooling_k)) * np.timedelta64(900, "s")
    features = np.full((len(subcooling_k), len(FEATURES)), np.nan)
    features[:, INDEX["to_indoor_s"]] = np.arange(len(subcooling_k)) * 100.0
    features[:, INDEX["subcooling_to_indoor_k"]] = subcooling_k
    return Windows(start, features)


def test_a_days_row_is_its_windows_pooled(system: System) -> None:
    rows = windows([4.0, 5.0, 9.0])
    window_rows.replace_day(system.pk, DAY, rows)
    stored = day_rows.load([system.pk])[system.pk]
    np.testing.assert_array_equal(stored.start, np.array(["2026-03-05"], "datetime64[us]"))
    np.testing.assert_array_equal(stored.features, pooling.daily(rows).features)
    # By hand: 100 s of 5 K and 200 s of 9 K.
    assert stored.column("subcooling_to_indoor_k")[0] == pytest.approx(23.0 / 3.0)


def test_a_second_analysis_replaces_the_row_and_an_empty_one_removes_it(system: System) -> None:
    window_rows.replace_day(system.pk, DAY, windows([4.0, 5.0]))
    window_rows.replace_day(system.pk, DAY, windows([4.0, 7.0]))
    stored = day_rows.load([system.pk])[system.pk]
    assert stored.column("subcooling_to_indoor_k").tolist() == [7.0]
    window_rows.replace_day(system.pk, DAY, empty())
    assert not PooledDay.objects.exists()


def test_days_of_another_method_are_not_read(system: System) -> None:
    window_rows.replace_day(system.pk, DAY, windows([4.0, 5.0]))
    PooledDay.objects.update(method_version=0)
    assert len(day_rows.load([system.pk])[system.pk]) == 0


def test_only_days_that_can_be_judged_again_wait_for_the_present_method(system: System) -> None:
    window_rows.replace_day(system.pk, DAY, windows([4.0, 5.0]))
    assert day_rows.outdated([system.pk]) == set()
    PooledDay.objects.update(method_version=0)
    assert day_rows.outdated([system.pk]) == set(), "its samples are gone"
    DueDay.objects.mark(system.pk, [DAY])
    assert day_rows.outdated([system.pk]) == {system.pk}


def test_many_systems_cost_one_query(system: System, django_assert_num_queries: object) -> None:
    window_rows.replace_day(system.pk, DAY, windows([4.0, 5.0]))
    with django_assert_num_queries(1):  # type: ignore[operator]
        found = day_rows.load([system.pk, system.pk + 1])
    assert [len(found[pk]) for pk in (system.pk, system.pk + 1)] == [1, 0]
    assert found[system.pk].start[0] == np.datetime64(DAY)
