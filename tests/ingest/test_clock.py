"""Time stamps with offset and in local time."""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fleet.ingest import clock
from fleet.ingest.clock import Fault

LISBON = ZoneInfo("Europe/Lisbon")
PLAIN = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}T[0-9]{2}:[0-9]{2}:[0-9]{2}Z")


def utc(texts: list[str], zone: ZoneInfo = LISBON) -> list[str]:
    """UTC of texts, all of which must be readable."""
    readings = clock.read(pl.Series(texts, dtype=pl.String), zone)
    assert not readings.fault.any()
    return [str(each).removesuffix(".000000") for each in clock.settle(readings)]


def faults(texts: list[str | None], zone: ZoneInfo = LISBON) -> list[Fault]:
    return [Fault(each) for each in clock.read(pl.Series(texts, dtype=pl.String), zone).fault]


@pytest.mark.parametrize(
    ("text", "wanted"),
    [
        ("2026-01-05T14:00:10Z", "2026-01-05T14:00:10"),
        ("2026-01-05t14:00:10z", "2026-01-05T14:00:10"),
        ("2026-01-05 14:00:10Z", "2026-01-05T14:00:10"),
        (" 2026-01-05T14:00:10Z ", "2026-01-05T14:00:10"),
        ("2026-01-05T14:00:10+02:00", "2026-01-05T12:00:10"),
        ("2026-01-05T14:00:10-09:30", "2026-01-05T23:30:10"),
        ("2026-01-05T14:00:10-00:00", "2026-01-05T14:00:10"),
        ("2026-01-05T14:00:10.5Z", "2026-01-05T14:00:10.500000"),
        ("2026-01-05T14:00:10.1234567899999Z", "2026-01-05T14:00:10.123456"),
        ("2026-01-05T14:00:10", "2026-01-05T14:00:10"),
        ("2026-07-05T14:00:10", "2026-07-05T13:00:10"),
        ("2024-02-29T00:00:00", "2024-02-29T00:00:00"),
    ],
)
def test_instants(text: str, wanted: str) -> None:
    assert utc([text]) == [wanted]


def test_examples_of_rfc_3339_section_5_8() -> None:
    assert utc(["1985-04-12T23:20:50.52Z".replace("1985", "2005")]) == [
        "2005-04-12T23:20:50.520000"
    ]
    assert utc(["2026-12-19T16:39:57-08:00"]) == ["2026-12-20T00:39:57"]


@pytest.mark.parametrize(
    "text",
    [
        "2026-01-05", "14:00:10", "2026-01-05T14:00", "2026-1-5T14:00:10Z", "20260105T140010Z",
        "2026-02-30T00:00:00Z", "2026-13-01T00:00:00Z", "2026-01-05T24:00:00Z",
        "2026-01-05T14:60:00Z", "2026-01-05T14:00:60Z", "2026-01-05T14:00:10+0200",
        "2026-01-05T14:00:10+25:00", "2026-01-05T14:00:10 UTC", "2026-01-05T14:00:10.Z",
        "05/01/2026 14:00:10", "1767621610", "nonsense", "２026-01-05T14:00:10Z",
    ],
)  # fmt: skip
def test_what_is_no_rfc_3339_time_is_unreadable(text: str) -> None:
    assert faults([text]) == [Fault.UNREADABLE]


def test_empty_and_implausible_times() -> None:
    assert faults([None]) == [Fault.EMPTY]
    for text in ("1970-01-01T00:00:00Z", "2100-01-01T00:00:00Z", "0000-01-01T00:00:00"):
        assert faults([text]) == [Fault.IMPLAUSIBLE]


def test_offset_and_local_time_may_be_mixed() -> None:
    assert utc(["2026-07-05T14:00:00", "2026-07-05T14:00:00Z", "2026-07-05T14:00:20"]) == [
        "2026-07-05T13:00:00", "2026-07-05T14:00:00", "2026-07-05T13:00:20"
    ]  # fmt: skip


def local(start: datetime, minutes: int, count: int, zone: ZoneInfo) -> tuple[list[str], list[str]]:
    """Local texts and UTC texts of equally spaced instants."""
    instants = [start + timedelta(minutes=minutes) * n for n in range(count)]
    told = [f"{each.astimezone(zone):%Y-%m-%dT%H:%M:%S}" for each in instants]
    return told, [f"{each:%Y-%m-%dT%H:%M:%S}" for each in instants]


# Lisbon puts clocks back on 2026-10-25 at 01:00 UTC (02:00 -> 01:00), forward on 2026-03-29.
AUTUMN = datetime(2026, 10, 25, 0, 0, tzinfo=UTC)


@pytest.mark.parametrize("minutes", [1, 7, 15, 20, 30, 60])
def test_the_repeated_hour_is_told_apart_by_row_order(minutes: int) -> None:
    told, wanted = local(AUTUMN - timedelta(hours=2), minutes, 6 * 60 // minutes, LISBON)
    assert utc(told) == wanted


def test_a_file_with_the_newest_row_first_is_understood() -> None:
    told, wanted = local(AUTUMN - timedelta(hours=2), 10, 36, LISBON)
    assert utc(told[::-1]) == wanted[::-1]


def test_one_pass_alone_is_the_first() -> None:
    assert utc(["2026-10-25T01:10:00", "2026-10-25T01:20:00"]) == [
        "2026-10-25T00:10:00", "2026-10-25T00:20:00"
    ]  # fmt: skip


def test_a_gap_at_the_change_still_shows_the_step_back() -> None:
    assert utc(["2026-10-25T01:50:00", "2026-10-25T01:30:00", "2026-10-25T01:40:00"]) == [
        "2026-10-25T00:50:00", "2026-10-25T01:30:00", "2026-10-25T01:40:00"
    ]  # fmt: skip


def test_the_same_time_twice_in_a_fast_log_is_a_repetition_not_the_second_pass() -> None:
    told = ["2026-10-25T01:10:00", "2026-10-25T01:10:00", "2026-10-25T01:10:10"]
    assert utc(told) == ["2026-10-25T00:10:00", "2026-10-25T00:10:00", "2026-10-25T00:10:10"]


def test_two_autumns_in_one_file() -> None:
    first, first_utc = local(AUTUMN - timedelta(hours=1), 10, 24, LISBON)
    before = datetime(2025, 10, 26, 0, 0, tzinfo=UTC)
    second, second_utc = local(before - timedelta(hours=1), 10, 24, LISBON)
    assert utc(second + first) == second_utc + first_utc


def test_the_skipped_hour_of_spring_never_was() -> None:
    told = [
        "2026-03-29T00:59:59",
        "2026-03-29T01:00:00",
        "2026-03-29T01:59:59",
        "2026-03-29T02:00:00",
    ]
    assert faults(told) == [Fault.NONE, Fault.SKIPPED, Fault.SKIPPED, Fault.NONE]
    assert utc(told[::3]) == ["2026-03-29T00:59:59", "2026-03-29T01:00:00"]


@pytest.mark.parametrize(
    ("name", "change"),
    [
        ("Australia/Lord_Howe", "2026-04-04T15:00"),  # half an hour
        ("Africa/Cairo", "2026-10-29T21:00"),  # at midnight, back into the day before
        ("America/St_Johns", "2026-11-01T04:30"),  # half-hour offset
        ("Pacific/Apia", "2020-04-04T14:00"),
        ("Asia/Kolkata", "2026-10-25T01:00"),  # no change at all
    ],
)
def test_other_zones(name: str, change: str) -> None:
    zone = ZoneInfo(name)
    start = datetime.fromisoformat(change).replace(tzinfo=UTC) - timedelta(hours=3)
    told, wanted = local(start, 5, 72, zone)
    assert utc(told, zone) == wanted


@given(
    start=st.datetimes(datetime(2001, 1, 1), datetime(2090, 1, 1)),  # noqa: DTZ001
    step_s=st.integers(1, 1800),
    name=st.sampled_from(["Europe/Lisbon", "America/New_York", "Australia/Lord_Howe", "UTC"]),
)
@settings(max_examples=100, deadline=None)
def test_a_log_in_local_time_gives_the_instants_it_was_written_at(
    start: datetime, step_s: int, name: str
) -> None:
    """Any zone, any time of the year: the standard library's conversion is the reference."""
    zone = ZoneInfo(name)
    begin = start.replace(microsecond=0, tzinfo=UTC)
    instants = [begin + timedelta(seconds=step_s) * n for n in range(200)]
    passes = [each.astimezone(zone).fold for each in instants]
    told = [f"{each.astimezone(zone):%Y-%m-%dT%H:%M:%S}" for each in instants]
    if passes[0] == 1:  # begins in a second pass, which no order of rows can show
        return
    assert utc(told, zone) == [f"{each:%Y-%m-%dT%H:%M:%S}" for each in instants]


def test_a_year_in_local_time_needs_no_time() -> None:
    stamps = np.arange("2026-01-01", "2027-01-01", 300, "datetime64[s]").astype(str)
    skipped = clock.read(pl.Series(stamps), LISBON).fault == Fault.SKIPPED
    assert skipped.sum() == 12


@st.composite
def nearly_plain(draw: st.DrawFn) -> str:
    """A time as most loggers write it, now and then with characters of another kind."""
    second = draw(st.integers(-2_000_000, 100 * 366 * 86_400))
    when = datetime(2000, 1, 1, tzinfo=UTC) + timedelta(seconds=second)
    text = list(f"{when:%Y-%m-%dT%H:%M:%SZ}")
    for at in draw(st.lists(st.integers(0, len(text) - 1), max_size=2)):
        text[at] = draw(st.sampled_from("0123456789-:TtZz +.\0é"))
    return "".join(text)


@given(st.lists(nearly_plain(), min_size=1, max_size=4))
@settings(max_examples=400, deadline=None)
def test_what_is_read_straight_from_bytes_is_what_its_text_gives(texts: list[str]) -> None:
    cells = [text.encode("latin-1") for text in texts]
    straight = clock.read_plain(np.array([list(cell) for cell in cells], np.uint8))
    by_text = clock.read(pl.Series(texts, dtype=pl.String), LISBON)
    if straight is None:
        assert by_text.fault.any() or not all(PLAIN.fullmatch(text) for text in texts)
        return
    assert not by_text.fault.any()
    assert (straight.first == by_text.first).all()
    assert (straight.second == by_text.second).all()
