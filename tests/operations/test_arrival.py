"""A logger whose clock runs ahead is told so by the upload's report, and no row is moved."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from fleet.ingest import arrival
from fleet.ingest.receive import receive
from fleet.ingest.take_in import take_in
from fleet.models import Upload, UploadState
from fleet.timeseries import store
from tests.analysis import building

pytestmark = pytest.mark.django_db

ARRIVED = datetime(2026, 3, 2, 12, tzinfo=UTC)


def taken_in(*ahead: timedelta) -> Upload:
    """An upload that arrived at noon, with rows so much later."""
    lines = ["time,suction_pressure [kPa(a)]"]
    lines += [f"{(ARRIVED + span).isoformat()},{900}" for span in ahead]
    upload, _ = receive(building.registered(), "a.csv", "\n".join(lines).encode())
    Upload.objects.filter(pk=upload.pk).update(received_at=ARRIVED)
    return take_in(upload.pk)


def test_rows_of_the_future_are_shown_and_kept_as_written() -> None:
    upload = taken_in(-timedelta(hours=1), timedelta(minutes=4), timedelta(hours=2, minutes=3))
    assert upload.state == UploadState.TAKEN_IN
    assert upload.rows_accepted == 3
    assert upload.reasons == [
        {
            "line": 4,
            "column": "time",
            "reason": "1 rows are dated after the upload arrived, this one by 2 h 3 min: the "
            "logger's clock or its time zone is wrong; times are kept as written",
        }
    ]
    first, last = store.extent(upload.system_id) or (None, None)
    assert (first, last) == (
        ARRIVED - timedelta(hours=1),
        ARRIVED + timedelta(hours=2, minutes=3),
    )


def test_late_rows_and_clocks_a_little_off_are_no_matter() -> None:
    upload = taken_in(-timedelta(days=90), timedelta(minutes=4, seconds=59))
    assert upload.reasons == []


@pytest.mark.parametrize(
    ("span", "text"),
    [
        (timedelta(minutes=6), "6 min"),
        (timedelta(hours=1), "1 h"),
        (timedelta(days=3, hours=2, minutes=9), "3 d 2 h"),
        (timedelta(days=400, minutes=5), "400 d"),
    ],
)
def test_spans_are_said_in_two_units(span: timedelta, text: str) -> None:
    assert arrival.said(span) == text


def test_a_leap_second_is_left_out_and_does_no_harm() -> None:
    """RFC 3339 allows 23:59:60; POSIX time, in which samples are kept, has no such instant."""
    times = ["2016-12-31T23:59:59Z", "2016-12-31T23:59:60Z", "2017-01-01T00:00:00Z"]
    lines = ["time,suction_pressure [kPa(a)]", *(f"{at},900" for at in times)]
    upload, _ = receive(building.registered(), "leap.csv", "\n".join(lines).encode())
    upload = take_in(upload.pk)
    assert (upload.state, upload.rows_accepted, upload.rows_left_out) == (
        UploadState.TAKEN_IN,
        2,
        1,
    )
    assert [(each["line"], each["column"]) for each in upload.reasons] == [(3, "time")]
    assert store.extent(upload.system_id) == (
        datetime(2016, 12, 31, 23, 59, 59, tzinfo=UTC),
        datetime(2017, 1, 1, tzinfo=UTC),
    )
