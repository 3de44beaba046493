"""Which days a plot shows, on whose clock."""

from __future__ import annotations

from datetime import UTC, date, datetime

import pytest

from fleet.models import Event, Site, System
from fleet.pages.event.plot import spans


def event(zone: str = "Europe/Lisbon", peak: datetime | None = None) -> Event:
    """An event that is in no database."""
    peak = peak or datetime(2026, 3, 3, 14, tzinfo=UTC)
    return Event(system=System(site=Site(timezone=zone)), peak_at=peak)


def test_the_peaks_day_is_the_sites_not_utcs() -> None:
    late = event("Asia/Tokyo", datetime(2026, 3, 3, 20, tzinfo=UTC))
    span = spans.chosen(late, {})
    assert span.first == span.last == date(2026, 3, 4)
    assert span.start == datetime(2026, 3, 3, 15, tzinfo=UTC)
    assert span.end == datetime(2026, 3, 4, 15, tzinfo=UTC)
    assert span.clock == "time at the site (Asia/Tokyo, UTC+9:00)"


@pytest.mark.parametrize(
    ("code", "first", "last"),
    [("day", 3, 3), ("3days", 2, 4), ("week", -28, 6), ("nonsense", 3, 3)],
)
def test_spans_lie_around_the_day(code: str, first: int, last: int) -> None:
    span = spans.chosen(event(), {"span": code})
    begin = date(2026, 3, first) if first > 0 else date(2026, 2, -first)
    assert (span.first, span.last) == (begin, date(2026, 3, last))


def test_the_neighbours_meet_without_overlap() -> None:
    span = spans.chosen(event(), {"span": "week"})
    earlier = spans.chosen(event(), {"span": "week", "on": span.earlier.isoformat()})
    later = spans.chosen(event(), {"span": "week", "on": span.later.isoformat()})
    assert earlier.end == span.start
    assert later.start == span.end


def test_a_day_on_which_the_clocks_change_is_drawn_on_one_clock_and_says_so() -> None:
    span = spans.chosen(event(), {"on": "2026-03-29"})
    assert (span.end - span.start).total_seconds() == 23 * 3600
    assert span.offset_s == 0
    assert "the clocks change in this span, drawn without the change" in span.clock
    assert span.local_ms(span.end) - span.local_ms(span.start) == 23 * 3_600_000


def test_half_hours_and_west_are_written_as_clocks_are() -> None:
    span = spans.chosen(event("America/St_Johns"), {})
    assert span.clock.endswith("UTC−3:30)")
    assert span.offset_s == -12_600


@pytest.mark.parametrize("asked", ["", "yesterday", "2026-02-30", "9999-12-31", "0001-01-01"])
def test_a_day_that_is_none_falls_back_to_the_peak(asked: str) -> None:
    assert spans.chosen(event(), {"on": asked}).first == date(2026, 3, 3)
