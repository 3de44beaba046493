"""``/readyz`` and ``/metrics``: they say what is so, also when it is bad."""

from __future__ import annotations

import json
from datetime import timedelta
from typing import Any

import pytest
from django.db import OperationalError, connection
from django.db.migrations.loader import MigrationLoader
from django.db.migrations.recorder import MigrationRecorder
from django.test import Client as Browser
from django.utils import timezone
from prometheus_client.openmetrics.parser import text_string_to_metric_families

from fleet.api import measures
from fleet.api.doorbell import SILENT_S, Doorbell
from fleet.models import DueDay, Standing, Upload, UploadState
from fleet.models.upload import MAX_ATTEMPTS
from tests.analysis import building
from tests.api.sender import CSV, Sender, problem

pytestmark = pytest.mark.django_db


def away(*_: Any) -> None:
    raise OperationalError("password of the database: hunter2")


def test_it_is_ready_when_all_is_well() -> None:
    answer = Browser().get("/readyz")
    assert (answer.status_code, answer.json()) == (
        200,
        {"database": "ok", "migrations": "ok", "broker": "ok"},
    )


def test_it_is_not_ready_without_its_database() -> None:
    with connection.execute_wrapper(away):
        answer = Browser().get("/readyz")
    assert problem(answer)[:2] == (503, "Not available")
    document = answer.json()
    assert document["database"] == "does not answer"
    assert document["broker"] == "ok"
    assert answer["Retry-After"] == "5"
    assert b"hunter2" not in answer.content


def test_it_is_not_ready_without_its_broker(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("REDIS_URL", "redis+socket:///nowhere/broker.socket")
    answer = Browser().get("/readyz")
    assert problem(answer) == (503, "Not available", "broker: does not answer")
    assert answer.json()["database"] == "ok"


def test_it_is_not_ready_before_its_migrations() -> None:
    (latest,) = MigrationLoader(connection).graph.leaf_nodes("fleet")
    MigrationRecorder(connection).record_unapplied(*latest)
    answer = Browser().get("/readyz")
    assert answer.status_code == 503
    assert answer.json()["migrations"] == "1 are not applied"


def test_probes_on_the_machine_itself_need_no_tls(settings: Any) -> None:
    settings.HTTPS = True
    assert [Browser().get(path).status_code for path in ("/readyz", "/metrics")] == [200, 200]


def scraped() -> dict[str, float]:
    """Samples by name and labels, as a reader of the standard's format sees them."""
    answer = Browser().get("/metrics")
    assert answer.status_code == 200
    media_type = "application/openmetrics-text; version=1.0.0; charset=utf-8"
    assert answer["Content-Type"] == media_type
    families = list(text_string_to_metric_families(answer.content.decode()))
    assert all(family.documentation and family.type == "gauge" for family in families)
    return {
        sample.name + "".join(f" {value}" for value in sample.labels.values()): sample.value
        for family in families
        for sample in family.samples
    }


def test_an_empty_installation_has_zeros() -> None:
    found = scraped()
    assert set(found.values()) == {0.0}
    assert {"millrace_uploads stored", "millrace_queue_age_seconds", "millrace_windows"} <= set(
        found
    )


def test_metrics_count_what_there_is(gateway: Sender) -> None:
    for number, state in enumerate(UploadState):
        gateway.post(CSV + b"\n" * number)
        latest = Upload.objects.latest("received_at")
        Upload.objects.filter(pk=latest.pk).update(state=state)
    gateway.post(CSV + b"\n" * 9)
    Upload.objects.filter(state=UploadState.STORED).update(
        received_at=timezone.now() - timedelta(seconds=90)
    )
    found = scraped()
    assert found["millrace_uploads stored"] == 2
    assert found["millrace_uploads analysed"] == 1
    assert 90 <= found["millrace_queue_age_seconds"] < 120
    assert found["millrace_uploads_set_aside"] == 0
    Upload.objects.filter(state=UploadState.REFUSED).update(attempts=MAX_ATTEMPTS)
    assert scraped()["millrace_uploads_set_aside"] == 1


def test_due_days_are_counted_once_by_condition(gateway: Sender) -> None:
    day = building.FIRST_DAY
    conditions: list[dict[str, Any]] = [
        {},
        {"failure": "ValueError: x", "attempts": 1},
        {"failure": "ValueError: x", "attempts": 3},
        {"attempts": 9},
        {"analysed_generation": 1},
    ]
    for offset, condition in enumerate(conditions):
        DueDay.objects.create(system=gateway.system, day=day + timedelta(days=offset), **condition)
    found = scraped()
    counted = {
        key: found[f"millrace_due_days {key}"]
        for key in ("waiting", "failing", "parked", "analysed")
    }
    assert counted == {"waiting": 1, "failing": 1, "parked": 2, "analysed": 1}


def test_the_lag_of_the_analysis_is_that_of_the_oldest_upload_taken_in(gateway: Sender) -> None:
    gateway.post(CSV)
    assert scraped()["millrace_analysis_lag_seconds"] == 0
    Upload.objects.update(
        state=UploadState.TAKEN_IN, received_at=timezone.now() - timedelta(minutes=5)
    )
    assert 300 <= scraped()["millrace_analysis_lag_seconds"] < 330
    assert scraped()["millrace_queue_age_seconds"] == 0
    Upload.objects.update(received_at=timezone.now() + timedelta(hours=6))  # a clock put back
    assert scraped()["millrace_analysis_lag_seconds"] == 0


@pytest.mark.parametrize(
    ("last", "silent", "ahead"),
    [
        (-timedelta(hours=23), 0, 0),
        (-timedelta(hours=25), 1, 0),
        (timedelta(minutes=4), 0, 0),
        (timedelta(minutes=6), 0, 1),
        (None, 0, 0),
    ],
)
def test_silent_systems_and_clocks_that_run_ahead_are_counted(
    gateway: Sender, last: timedelta | None, silent: int, ahead: int
) -> None:
    newest = None if last is None else timezone.now() + last
    Standing.objects.update_or_create(
        system=gateway.system,
        defaults={"at": timezone.now(), "last_sample": newest, "method_version": 1},
    )
    found = scraped()
    assert (found["millrace_systems_silent"], found["millrace_systems_ahead"]) == (silent, ahead)


def test_metrics_name_no_site(gateway: Sender) -> None:
    gateway.post(CSV)
    assert b"ferry" not in Browser().get("/metrics").content


def test_many_windows_are_estimated(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(measures, "COUNTED_BELOW", -1)
    with connection.cursor() as cursor:
        cursor.execute("ANALYZE fleet_window")
    assert scraped()["millrace_windows"] == 0


def test_metrics_without_a_database_are_a_problem() -> None:
    with connection.execute_wrapper(away):
        answer = Browser().get("/metrics")
    assert problem(answer)[:2] == (503, "Not available")


def test_a_problems_type_can_be_looked_up(gateway: Sender) -> None:
    document = json.loads(gateway.get("/api/v1/nothing").content)
    meaning = Browser().get(document["type"]).content.decode()
    assert meaning.startswith("404 Not found\n")
    assert Browser().get("/api/v1/problems/none-such").status_code == 404


def test_a_slow_bell_is_silent_for_a_while(
    monkeypatch: pytest.MonkeyPatch, gateway: Sender
) -> None:
    clock, rung = [100.0], []

    def slow_ring(_: object, upload_id: str) -> None:
        rung.append(upload_id)
        clock[0] += 2.0

    monkeypatch.setattr("fleet.api.doorbell.monotonic", lambda: clock[0])
    monkeypatch.setattr("fleet.tasks.ring", slow_ring)
    bell, upload_id = Doorbell(), Upload(system=gateway.system).pk
    for _ in range(5):
        bell.ring(upload_id)
    assert len(rung) == 1
    clock[0] += SILENT_S
    bell.ring(upload_id)
    assert len(rung) == 2
