"""Tasks ring and claim; the database row is the queue."""

from __future__ import annotations

import logging
from datetime import datetime, timedelta
from typing import Any
from uuid import uuid4

import pytest
from django.utils import timezone
from kombu.exceptions import OperationalError
from pytest_django import DjangoCaptureOnCommitCallbacks

from fleet import tasks
from fleet.analysis import backlog, days, window_rows
from fleet.models import DueDay, Standing, System, Upload, UploadState
from fleet.timeseries import store
from tests.analysis import building

pytestmark = pytest.mark.django_db


@pytest.fixture
def system() -> System:
    return building.registered()


@pytest.fixture
def rung(monkeypatch: pytest.MonkeyPatch) -> list[tuple[str, Any]]:
    """Messages instead of a broker."""
    sent: list[tuple[str, Any]] = []
    for task in (tasks.take_in, tasks.analyse, tasks.learn):
        monkeypatch.setattr(
            task, "apply_async", lambda ids, retry, task=task: sent.append((task.name, ids))
        )
    return sent


def upload(system: System, age_s: float = 10.0, **fields: Any) -> Upload:
    made = Upload.objects.create(
        system=system, name="a.csv", sha256=uuid4().hex, body=b"time\n", **fields
    )
    Upload.objects.filter(pk=made.pk).update(received_at=timezone.now() - timedelta(seconds=age_s))
    return made


def test_analysing_twice_changes_nothing(system: System) -> None:
    building.take_in(system, building.cooling(3.0))
    tasks.analyse(system.pk)
    before = (window_rows.load(system.pk).features.tobytes(), Standing.objects.values().get())
    tasks.analyse(system.pk)
    assert (
        window_rows.load(system.pk).features.tobytes(),
        Standing.objects.values().get(),
    ) == before
    assert not DueDay.objects.exists()


def test_an_upload_is_analysed_when_none_of_its_days_is_due(system: System) -> None:
    day = timedelta(days=1)
    first = upload(
        system,
        state=UploadState.TAKEN_IN,
        first_sample=building.START,
        last_sample=building.START + day / 24,
    )
    other = upload(
        system,
        state=UploadState.TAKEN_IN,
        first_sample=building.START + 3 * day,
        last_sample=building.START + 3 * day,
    )
    building.take_in(system, building.cooling(1.0), building.cooling(1.0, from_hour=72.0))
    DueDay.objects.filter(day=(building.START + 3 * day).date()).update(
        retry_at=timezone.now() + days.FIRST_RETRY
    )
    tasks.analyse(system.pk)
    first.refresh_from_db()
    other.refresh_from_db()
    assert (first.state, other.state) == (UploadState.ANALYSED, UploadState.TAKEN_IN)


def test_a_long_backlog_is_worked_off_in_turns(
    system: System,
    rung: list[tuple[str, Any]],
    monkeypatch: pytest.MonkeyPatch,
    django_capture_on_commit_callbacks: DjangoCaptureOnCommitCallbacks,
) -> None:
    building.take_in(system, building.cooling(50.0))
    monkeypatch.setattr(tasks, "AT_ONE_GO_S", -1.0)
    with django_capture_on_commit_callbacks(execute=True):
        tasks.analyse(system.pk)
    assert rung == [("fleet.tasks.analyse", (system.pk,))]
    assert DueDay.objects.count() == 3


def test_a_sweep_rings_for_what_was_left_lying(
    system: System,
    rung: list[tuple[str, Any]],
    django_capture_on_commit_callbacks: DjangoCaptureOnCommitCallbacks,
) -> None:
    lost = upload(system)
    upload(system, age_s=0.5)
    upload(system, state=UploadState.REFUSED)
    upload(system, retry_at=timezone.now() + timedelta(minutes=1))
    building.take_in(system, building.cooling(1.0))
    with django_capture_on_commit_callbacks(execute=True):
        tasks.sweep()
    assert rung == [
        ("fleet.tasks.take_in", (str(lost.pk),)),
        ("fleet.tasks.analyse", (system.pk,)),
    ]


def test_a_sweep_settles_an_upload_that_changed_nothing_and_whose_message_is_lost(
    system: System, rung: list[tuple[str, Any]]
) -> None:
    day = timezone.now() - timedelta(days=1)
    parked = upload(system, state=UploadState.TAKEN_IN, first_sample=day, last_sample=day)
    DueDay.objects.mark(system.pk, [day.date()])
    other = building.registered(code="R2")
    idle = upload(other, state=UploadState.TAKEN_IN, first_sample=day, last_sample=day)
    tasks.sweep()
    idle.refresh_from_db()
    parked.refresh_from_db()
    assert idle.state == UploadState.ANALYSED
    assert parked.state == UploadState.TAKEN_IN, "a day of it is still due"


def test_a_sweep_prepares_for_the_samples_of_the_coming_weeks(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    prepared: list[datetime] = []
    monkeypatch.setattr(store, "prepare", prepared.append)
    tasks.sweep()
    assert len(prepared) == 1
    assert abs(timezone.now() - prepared[0]) < timedelta(minutes=1)


def test_a_sweep_rings_for_days_analysed_by_a_process_that_died_before_settling(
    system: System,
    rung: list[tuple[str, Any]],
    django_capture_on_commit_callbacks: DjangoCaptureOnCommitCallbacks,
) -> None:
    building.take_in(system, building.cooling(1.0))
    DueDay.objects.update(analysed_generation=1)
    with django_capture_on_commit_callbacks(execute=True):
        tasks.sweep()
    assert rung == [("fleet.tasks.analyse", (system.pk,))]


def test_a_broker_that_is_away_is_noted_and_nothing_else(
    system: System,
    monkeypatch: pytest.MonkeyPatch,
    caplog: pytest.LogCaptureFixture,
    django_capture_on_commit_callbacks: DjangoCaptureOnCommitCallbacks,
) -> None:
    def away(*_: Any, **__: Any) -> None:
        raise OperationalError("connection refused")

    monkeypatch.setattr(tasks.analyse, "apply_async", away)
    building.take_in(system, building.cooling(1.0))
    with (
        caplog.at_level(logging.WARNING, "fleet.tasks"),
        django_capture_on_commit_callbacks(execute=True),
    ):
        tasks.sweep()
    assert "Could not ring for fleet.tasks.analyse" in caplog.text
    assert "connection refused" in caplog.text
    assert backlog.systems_with_work() == [system.pk]
