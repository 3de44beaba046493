"""From received bytes to samples, due days and a report."""

from __future__ import annotations

import gzip
import uuid
from contextlib import closing
from datetime import UTC, date, datetime
from typing import Any

import psycopg
import pytest
from django.db import OperationalError, connection

from fleet.ingest import take_in as module
from fleet.ingest.due import mark_all_due, mark_due
from fleet.ingest.manifest import register
from fleet.ingest.receive import TooLargeError, receive
from fleet.ingest.take_in import take_in
from fleet.ingest.unpack import check_length
from fleet.models import DueDay, System, Upload, UploadState
from fleet.timeseries import store
from tests.ingest.building import MANIFEST, csv, dump, registered

pytestmark = pytest.mark.django_db

DAY = csv(
    "time,suction_pressure [kPa(a)],A-101/setpoint [degC],A-7/demand",
    "2026-01-05T14:00:00Z,800,21,1",
    "2026-01-05T14:00:10Z,,x,1",
    "soon,800,21,1",
    "2026-01-06T00:00:00Z,820,21.5,0",
)


def due(system: System) -> dict[str, int]:
    """Due days and their generations."""
    return {str(each.day): each.generation for each in DueDay.objects.filter(system=system)}


def taken(system: System, body: bytes, *, replace: bool = False) -> Upload:
    """A file received and taken in."""
    upload, _ = receive(system, "some.csv", body, replace=replace)
    return take_in(upload.pk)


# Receiving


def test_bytes_are_kept_as_they_came() -> None:
    system = registered()
    body = gzip.compress(DAY)
    upload, created = receive(system, "x" * 300 + ".csv.gz", body)
    assert created
    upload.refresh_from_db()
    assert bytes(upload.body) == body
    assert upload.name.endswith("x.csv.gz")
    assert (len(upload.name), upload.state, upload.sha256[:0]) == (255, UploadState.STORED, "")


def test_the_same_bytes_are_the_same_upload() -> None:
    system = registered()
    first, _ = receive(system, "a.csv", DAY)
    taken_in = take_in(first.pk)
    again, created = receive(system, "b.csv", DAY)
    assert (again.pk, created, again.name) == (first.pk, False, "a.csv")
    before = dump(system), due(system)
    assert take_in(again.pk).state == taken_in.state == UploadState.TAKEN_IN
    assert (dump(system), due(system)) == before
    assert Upload.objects.count() == 1


def test_the_same_bytes_for_another_system_or_to_replace_are_another_upload() -> None:
    system = registered()
    other = register(MANIFEST.replace('"ferry-hall"', '"mill-lane"')).systems.get()
    uploads = {
        receive(system, "a.csv", DAY)[0].pk,
        receive(system, "a.csv", DAY, replace=True)[0].pk,
        receive(other, "a.csv", DAY)[0].pk,
    }
    assert len(uploads) == 3


def test_a_body_over_the_limit_is_not_kept(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("fleet.ingest.unpack.MAX_PLAIN_BYTES", 10)
    with pytest.raises(TooLargeError, match=r"the limit is 0 MiB: split it"):
        receive(registered(), "a.csv", DAY)
    assert not Upload.objects.exists()
    assert check_length(10) is None


# Taking in


def test_an_upload_is_taken_in_with_its_report() -> None:
    system = registered()
    upload = taken(system, DAY)
    assert upload.state == UploadState.TAKEN_IN
    assert (upload.rows_accepted, upload.rows_left_out, upload.cells_left_out) == (3, 1, 1)
    assert upload.unknown_columns == ["A-7/demand"]
    assert upload.reasons == [
        {
            "line": 3,
            "column": "A-101/setpoint [degC]",
            "reason": '"x" is not a number',
        },
        {
            "line": 4,
            "column": "time",
            "reason": '"soon" is not a time as RFC 3339 writes it: row left out',
        },
    ]
    assert upload.first_sample == datetime(2026, 1, 5, 14, tzinfo=UTC)
    assert upload.last_sample == datetime(2026, 1, 6, tzinfo=UTC)
    assert due(system) == {"2026-01-05": 1, "2026-01-06": 1}


def test_a_refused_upload_keeps_its_bytes_and_leaves_nothing_in_the_samples() -> None:
    system = registered()
    body = csv("time,suction_pressure [kPa]", "2026-01-05T14:00:00Z,800")
    upload = taken(system, body)
    assert upload.state == UploadState.REFUSED
    assert upload.reasons[0]["line"] == 1
    assert upload.reasons[0]["column"] == "suction_pressure [kPa]"
    assert "[kPa] does not say whether" in upload.reasons[0]["reason"]
    assert bytes(Upload.objects.get().body) == body
    assert store.extent(system.id) is None
    assert not due(system)
    assert receive(system, "again.csv", body)[0].state == UploadState.REFUSED


def test_differing_cells_are_counted_and_shown_in_the_units_of_the_file() -> None:
    system = registered()
    taken(system, DAY)
    later = csv(
        "time,suction_pressure [bar(a)],A-101/setpoint [degF]",
        "2026-01-05T14:00:10Z,8.1,70",
        "2026-01-05T14:00:00Z,9,69.8",
    )
    upload = taken(system, later)
    assert (upload.cells_differing, upload.cells_replaced) == (1, 0)
    assert upload.reasons == [
        {
            "line": 3,
            "column": "suction_pressure [bar(a)]",
            "reason": "9 bar(a) differs from the stored 8 bar(a): the stored one is kept",
        }
    ]
    assert due(system) == {"2026-01-05": 2, "2026-01-06": 2}


def test_replacing_says_what_it_changed() -> None:
    system = registered()
    taken(system, DAY)
    later = csv("time,suction_pressure [kPa(a)]", "2026-01-05T14:00:00Z,900")
    assert taken(system, later).cells_replaced == 0
    upload = taken(system, later, replace=True)
    assert (upload.cells_differing, upload.cells_replaced) == (1, 1)
    assert upload.reasons[0]["reason"] == (
        "900 kPa(a) differs from the stored 800 kPa(a): the stored one is replaced"
    )
    samples = store.read(
        system, datetime(2026, 1, 5, tzinfo=UTC), datetime(2026, 1, 5, 14, 0, 1, tzinfo=UTC)
    )
    assert samples.outdoor["suction_pressure"].tolist() == [900e3]


def test_what_changes_no_sample_makes_no_day_due() -> None:
    system = registered()
    taken(system, DAY)
    DueDay.objects.all().delete()
    upload = taken(system, gzip.compress(DAY))
    assert upload.state == UploadState.TAKEN_IN
    assert not due(system)


def test_columns_of_a_retired_unit_are_still_taken_in() -> None:
    system = registered()
    system.indoor_units.filter(code="A-101").update(retired=True)
    upload = taken(system, DAY)
    assert upload.unknown_columns == ["A-7/demand"]
    system.indoor_units.update(retired=False)
    start = datetime(2026, 1, 5, tzinfo=UTC)
    samples = store.read(System.objects.get(), start, start.replace(day=7))
    assert samples.indoor["setpoint"][0, 0] == pytest.approx(294.15)


def test_an_unknown_upload_is_an_error() -> None:
    with pytest.raises(Upload.DoesNotExist):
        take_in(uuid.uuid4())


# Failures of our own


def failing(*_: Any, **__: Any) -> None:
    raise RuntimeError("disk on fire")


def test_a_failure_is_tried_again_and_set_aside_after_three(
    monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    system = registered()
    upload, _ = receive(system, "a.csv", DAY)
    with monkeypatch.context() as patched:
        patched.setattr(module, "mark_due", failing)
        first = take_in(upload.pk)
        assert (first.state, first.attempts) == (UploadState.STORED, 1)
        assert first.retry_at is not None
        assert take_in(upload.pk).state == UploadState.STORED
        last = take_in(upload.pk)
    assert last.state == UploadState.REFUSED
    assert last.reasons == [
        {
            "line": None,
            "column": "",
            "reason": "internal failure, 3 times (RuntimeError: disk on fire): the bytes are kept, "
            "sending them again tries again",
        }
    ]
    assert store.extent(system.id) is None, "what a failed attempt merged is undone"
    assert "could not be taken in" in caplog.text
    again, created = receive(system, "a.csv", DAY)
    assert (again.pk, created, again.state) == (upload.pk, False, UploadState.STORED)
    assert take_in(again.pk).state == UploadState.TAKEN_IN


@pytest.mark.parametrize("error", [OperationalError, psycopg.errors.DiskFull])
def test_a_failure_of_the_database_is_not_the_uploads(
    error: type[Exception], monkeypatch: pytest.MonkeyPatch
) -> None:
    def failing_database(*_: Any, **__: Any) -> None:
        raise error("no space left")

    upload, _ = receive(registered(), "a.csv", DAY)
    with monkeypatch.context() as patched:
        patched.setattr(store, "merge", failing_database)
        for _ in range(12):
            waiting = take_in(upload.pk)
            assert (waiting.state, waiting.attempts) == (UploadState.STORED, 0)
            assert waiting.retry_at is not None
    assert take_in(upload.pk).state == UploadState.TAKEN_IN


def test_an_upload_that_kills_its_process_is_set_aside() -> None:
    upload, _ = receive(registered(), "a.csv", DAY)
    for _ in range(9):
        assert module._begin_attempt(upload.pk)  # and nothing more is heard of it
    set_aside = take_in(upload.pk)
    assert set_aside.state == UploadState.REFUSED
    assert set_aside.reasons[0]["reason"] == (
        "internal failure, 9 times (the process that took it in died): the bytes are kept, "
        "sending them again tries again"
    )


@pytest.mark.django_db(transaction=True)
def test_an_upload_somebody_else_is_at_is_left_alone() -> None:
    upload, _ = receive(registered(), "a.csv", DAY)
    with closing(connection.copy()) as other, other.cursor() as cursor:
        cursor.execute("BEGIN")
        cursor.execute("SELECT FROM fleet_upload WHERE id = %s FOR UPDATE", [upload.pk])
        assert take_in(upload.pk).state == UploadState.STORED
        cursor.execute("ROLLBACK")
    assert take_in(upload.pk).state == UploadState.TAKEN_IN


# Due days


def test_a_changed_day_makes_the_next_one_due_if_that_holds_samples() -> None:
    system = registered()
    taken(system, DAY)
    DueDay.objects.all().delete()
    mark_due(system.id, {date(2026, 1, 5)})
    assert due(system) == {"2026-01-05": 1, "2026-01-06": 1}
    mark_due(system.id, {date(2026, 1, 6)})
    assert due(system) == {"2026-01-05": 1, "2026-01-06": 2}
    mark_due(system.id, set())
    assert due(system) == {"2026-01-05": 1, "2026-01-06": 2}


def test_all_days_with_samples_can_be_made_due() -> None:
    system = registered()
    mark_all_due(system.id)
    assert not due(system)
    taken(system, DAY)
    mark_all_due(system.id)
    assert due(system) == {"2026-01-05": 2, "2026-01-06": 2}
