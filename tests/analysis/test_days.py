"""Analysis of due days: pure, claimed once, never forgotten."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import numpy as np
import pytest
from django.db import connection
from django.utils import timezone

from diagnostics.windows import Windows
from fleet.analysis import backlog, days, window_rows
from fleet.models import DueDay, Standing, System, Window
from tests.analysis import building

pytestmark = pytest.mark.django_db

TWO_DAYS = building.cooling(36.0, from_hour=6.0)


def windows_of(system: System) -> tuple[list[datetime], bytes]:
    windows = window_rows.load(system.pk)
    return windows.start.tolist(), windows.features.tobytes()


@pytest.fixture
def system() -> System:
    return building.registered()


def test_late_pieces_in_any_order_give_the_windows_of_all_at_once(system: System) -> None:
    building.take_in(system, TWO_DAYS)
    backlog.drain()
    for seed in range(3):
        rng = np.random.default_rng(seed)
        edges = np.sort(rng.integers(0, TWO_DAYS.time.size, 4)).tolist()
        bounds = zip([0, *edges], [*edges, TWO_DAYS.time.size], strict=True)
        pieces = [building.cut(TWO_DAYS, slice(*bound)) for bound in bounds]
        other = building.registered(code=f"S{seed}")
        for i in rng.permutation(len(pieces)):
            building.take_in(other, pieces[i])
            if rng.random() < 0.7:
                backlog.drain([other.pk])
        backlog.drain()
        assert windows_of(other) == windows_of(system)
        ours, theirs = (Standing.objects.get(system=each) for each in (other, system))
        assert (ours.verdict, ours.at, ours.score) == (theirs.verdict, theirs.at, theirs.score)


def test_a_late_evening_makes_the_next_morning_another(system: System) -> None:
    morning, evening = building.cooling(2.0, from_hour=24.0), building.cooling(1.0, from_hour=23.0)
    building.take_in(system, morning)
    backlog.drain()
    alone = window_rows.load(system.pk)
    building.take_in(system, evening)
    backlog.drain()
    behind_warm_up = window_rows.load(system.pk)
    assert len(behind_warm_up) == len(alone) + 4
    first, same = alone.features[0], behind_warm_up.features[4]
    assert not np.array_equal(first, same, equal_nan=True), "its context was not looked at"


def test_each_window_belongs_to_its_own_day(system: System) -> None:
    building.take_in(system, TWO_DAYS)
    backlog.drain()
    starts = window_rows.load(system.pk).start
    first = np.datetime64("2026-03-02T06:00:00", "us")
    assert starts.tolist() == (first + np.arange(144) * np.timedelta64(900, "s")).tolist()


def test_a_day_that_is_not_due_is_left_alone(system: System) -> None:
    assert days.analyse_day(system.pk, building.FIRST_DAY) is None
    building.take_in(system, building.cooling(1.0))
    assert days.analyse_day(system.pk, building.FIRST_DAY) == 4
    assert days.analyse_day(system.pk, building.FIRST_DAY) is None


def test_a_change_during_analysis_keeps_the_day_due(
    system: System, monkeypatch: pytest.MonkeyPatch
) -> None:
    building.take_in(system, building.cooling(1.0))

    def interrupted(samples: object, plant: object) -> object:
        building.take_in(system, building.cooling(1.0, from_hour=1.0))
        return analyse(samples, plant)

    analyse = days.analyse
    monkeypatch.setattr(days, "analyse", interrupted)
    assert days.analyse_day(system.pk, building.FIRST_DAY) == 4
    monkeypatch.undo()
    backlog.settle(system.pk)
    assert DueDay.objects.get().generation == 2
    backlog.drain()
    assert not DueDay.objects.exists()
    assert len(window_rows.load(system.pk)) == 8


def test_who_analyses_a_day_that_is_changed_meanwhile_analyses_it_anew(
    system: System, monkeypatch: pytest.MonkeyPatch
) -> None:
    building.take_in(system, building.cooling(1.0))
    changes = [building.cooling(1.0, from_hour=hour) for hour in (2.0, 1.0)]

    def interrupted(samples: object, plant: object) -> object:
        # The message for this change finds the day taken, and goes.
        if changes:
            building.take_in(system, changes.pop())
        return analyse(samples, plant)

    analyse = days.analyse
    monkeypatch.setattr(days, "analyse", interrupted)
    assert not backlog.work_off(system.pk)
    assert not DueDay.objects.exists()
    assert len(window_rows.load(system.pk)) == 12


def test_a_process_that_dies_leaves_the_day_due_and_its_windows_whole(
    system: System, monkeypatch: pytest.MonkeyPatch
) -> None:
    building.take_in(system, building.cooling(1.0))
    backlog.drain()
    before = windows_of(system)
    building.take_in(system, building.cooling(1.0, from_hour=1.0))

    def die(*_: object) -> int:
        Window.objects.all().delete()
        raise SystemExit

    monkeypatch.setattr(window_rows, "replace_day", die)
    with pytest.raises(SystemExit):
        days.analyse_day(system.pk, building.FIRST_DAY)
    monkeypatch.undo()
    assert windows_of(system) == before
    assert backlog.systems_with_work() == [system.pk]
    backlog.drain()
    assert len(window_rows.load(system.pk)) == 8


def test_a_day_that_fails_three_times_is_parked_with_its_reason(
    system: System, monkeypatch: pytest.MonkeyPatch
) -> None:
    building.take_in(system, building.cooling(1.0))

    def fail(samples: object, plant: object) -> object:
        raise ArithmeticError("no such pressure")

    monkeypatch.setattr(days, "analyse", fail)
    pauses = []
    for attempt in (1, 2, 3):
        assert days.analyse_day(system.pk, building.FIRST_DAY) is None
        due = DueDay.objects.get()
        assert due.attempts == attempt
        assert due.failure == "ArithmeticError: no such pressure"
        assert due.retry_at is not None
        pauses.append(due.retry_at - timezone.now())
        assert days.analyse_day(system.pk, building.FIRST_DAY) is None
        assert DueDay.objects.get().attempts == attempt, "waits for its time"
        DueDay.objects.update(retry_at=timezone.now() - timedelta(seconds=1))
    assert pauses == sorted(pauses)
    assert DueDay.objects.filter(days.PARKED).exists()
    assert backlog.systems_with_work() == []
    monkeypatch.undo()
    building.take_in(system, building.cooling(1.0, from_hour=1.0))
    assert backlog.systems_with_work() == [system.pk]
    backlog.drain()
    assert not DueDay.objects.exists()


def test_a_new_method_makes_every_day_due_again(system: System) -> None:
    building.take_in(system, TWO_DAYS)
    backlog.drain()
    now = windows_of(system)
    assert days.mark_outdated_due() == 0
    Window.objects.update(method_version=0)
    Standing.objects.update(method_version=0)
    assert len(window_rows.load(system.pk)) == 0
    assert days.mark_outdated_due() == 1
    assert days.mark_outdated_due() == 0
    assert DueDay.objects.count() == 2
    backlog.drain()
    assert windows_of(system) == now


def test_windows_come_back_from_the_database_bit_by_bit(system: System) -> None:
    rng = np.random.default_rng(5)
    start = np.datetime64("2026-03-02T00:00:00", "us") + np.arange(3) * np.timedelta64(900, "s")
    features = rng.normal(size=(3, window_rows.WRITE_ROW["features"].shape[0]))
    features[1, :5] = np.nan
    written = Windows(start, features)
    assert window_rows.replace_day(system.pk, building.FIRST_DAY, written) == 3
    read = window_rows.load(system.pk)
    assert read.start.tolist() == start.tolist()
    assert read.features.tobytes() == features.tobytes()
    by_orm = Window.objects.order_by("start").values_list("start", "features")[2]
    assert by_orm == (datetime(2026, 3, 2, 0, 30, tzinfo=UTC), features[2].tolist())


def test_only_windows_that_had_ended_are_loaded(system: System) -> None:
    building.take_in(system, building.cooling(1.0))
    backlog.drain()
    half_past = building.START + timedelta(minutes=30)
    assert len(window_rows.load(system.pk, before=half_past)) == 2
    assert len(window_rows.load(system.pk, before=half_past - timedelta(seconds=1))) == 1


def test_rows_of_another_shape_are_refused(system: System) -> None:
    building.take_in(system, building.cooling(1.0))
    backlog.drain()
    with connection.cursor() as cursor:
        cursor.execute("UPDATE fleet_window SET features = features[1:3]")
    with pytest.raises(window_rows.StoredWindowsError, match="raise METHOD_VERSION"):
        window_rows.load(system.pk)


def test_under_overload_the_oldest_work_comes_first() -> None:
    """Whoever was made due first is first, however often others are made due again."""
    first, second, third = (building.registered(code=code) for code in ("R1", "R2", "R3"))
    for system in (third, first, second):
        DueDay.objects.mark(system.pk, [date(2026, 3, 2)])
    for _ in range(3):
        DueDay.objects.mark(first.pk, [date(2026, 3, 2), date(2026, 3, 3)])
    assert backlog.systems_with_work() == [third.pk, first.pk, second.pk]
    assert backlog.systems_with_work(1) == [third.pk]
    DueDay.objects.filter(system=third).delete()
    DueDay.objects.mark(third.pk, [date(2026, 3, 2)])
    assert backlog.systems_with_work() == [first.pk, second.pk, third.pk]
