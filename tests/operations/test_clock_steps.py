"""A clock that was put back holds nothing up: not the sweep, another try, nor a sign-in."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
from django.utils import timezone

from fleet import tasks
from fleet.analysis import days
from fleet.celery import app
from fleet.ingest.receive import receive
from fleet.ingest.take_in import RETRY_AFTER
from fleet.models import DueDay, SignInFailure, Upload
from fleet.models.sign_in import BY_BOTH, SPAN
from fleet.scheduler import Scheduler
from tests.analysis import building

HOURS = timedelta(hours=6)
NOW = datetime(2026, 3, 2, 12, tzinfo=UTC)


@pytest.fixture
def upload() -> Upload:
    """Stored this very moment: its message is on its way."""
    return receive(building.registered(), "a.csv", b"time\n")[0]


def dated(upload: Upload, received: timedelta, retry: timedelta | None) -> list[object]:
    """What the sweep finds when these times were written so long from now."""
    now = timezone.now()
    retry_at = None if retry is None else now + retry
    Upload.objects.filter(pk=upload.pk).update(received_at=now + received, retry_at=retry_at)
    return list(tasks.left_lying())


@pytest.mark.django_db
def test_an_upload_dated_ahead_is_not_left_lying_until_then(upload: Upload) -> None:
    assert dated(upload, timedelta(), None) == []
    assert dated(upload, -HOURS, None) == [upload.pk]
    assert dated(upload, HOURS, None) == [upload.pk]


@pytest.mark.django_db
def test_another_try_dated_beyond_any_wait_is_made(upload: Upload) -> None:
    assert dated(upload, -HOURS, max(RETRY_AFTER) - timedelta(seconds=5)) == []
    assert dated(upload, -HOURS, HOURS) == [upload.pk]
    assert dated(upload, HOURS, HOURS) == [upload.pk]


@pytest.mark.django_db
@pytest.mark.parametrize(("ahead", "runs"), [(timedelta(minutes=2), 0), (HOURS, 1)])
def test_a_day_waits_for_no_clock(ahead: timedelta, runs: int) -> None:
    DueDay.objects.create(
        system=building.registered(), day=building.FIRST_DAY, attempts=1, failure="x",
        retry_at=timezone.now() + ahead,
    )  # fmt: skip
    assert DueDay.objects.filter(days.runnable()).count() == runs


def test_the_longest_wait_of_a_day_is_shorter_than_what_is_believed() -> None:
    waits = [days.FIRST_RETRY * 4 ** (attempt - 1) for attempt in range(1, days.MOST_FAILURES)]
    assert max(waits) < days.LONGEST_RETRY < HOURS


def test_the_scheduler_rings_on_whichever_way_the_clock_is_put(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    clock, rung = [NOW], []
    monkeypatch.setattr(app, "now", lambda: clock[0])
    monkeypatch.setattr(Scheduler, "producer", None)
    monkeypatch.setattr(
        Scheduler, "apply_entry", lambda _, entry, producer: rung.append(entry.name)
    )
    scheduler = Scheduler(app, lazy=True)
    scheduler.merge_inplace(app.conf.beat_schedule)
    for put in (timedelta(), HOURS, -HOURS, timedelta(seconds=-90), timedelta(days=400), -HOURS):
        clock[0] += put
        rung.clear()
        waits = 0.0
        while waits < 60.0:
            wait = max(scheduler.tick(), 0.001)
            clock[0] += timedelta(seconds=wait)
            waits += wait
        assert 11 <= rung.count("sweep") <= 14, f"put by {put}"


@pytest.mark.django_db
def test_failures_dated_ahead_lock_nobody_out() -> None:
    def waiting(at: datetime) -> timedelta:
        SignInFailure.objects.all().delete()
        for _ in range(BY_BOTH):
            SignInFailure.objects.note("rep", "192.0.2.1", at)
        return SignInFailure.objects.wait("rep", "192.0.2.1", NOW)

    assert waiting(NOW) == SPAN
    assert waiting(NOW + HOURS) == timedelta(0)
