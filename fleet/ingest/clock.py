"""From the text of time cells to UTC: RFC 3339 with offset, or local time of the site.

Where clocks go back, local times of one hour (or whatever the zone repeats) come twice. Rows tell
them apart by their order: the first pass lasts until the local time steps back. A file that holds
one pass only shows no such step; it is taken as the first. A local time that clocks skip in
spring never was, and its row is left out.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from enum import IntEnum
from zoneinfo import ZoneInfo

import numpy as np
import polars as pl
from numpy.typing import NDArray

from diagnostics.samples import TimeArray

RFC_3339 = (
    r"^[ \t]*([0-9]{4}-[0-9]{2}-[0-9]{2})[Tt ]"
    r"((?:[01][0-9]|2[0-3]):[0-5][0-9]:[0-5][0-9])(\.[0-9]+)?"
    r"([Zz]|[+-](?:[01][0-9]|2[0-3]):[0-5][0-9])?[ \t]*$"
)
PLAIN_UTC = np.frombuffer(b"0000-00-00T00:00:00Z", np.uint8)
"""As most loggers write it; 0 stands for any digit."""
DIGIT = np.equal(PLAIN_UTC, ord("0"))
EARLIEST = np.datetime64("2000-01-01T00:00:00", "us")
LATEST = np.datetime64("2100-01-01T00:00:00", "us")
ZERO = np.timedelta64(0, "us")


class Fault(IntEnum):
    """Why a time cell is no instant."""

    NONE = 0
    EMPTY = 1
    UNREADABLE = 2
    SKIPPED = 3
    IMPLAUSIBLE = 4


@dataclass(frozen=True, eq=False)
class Readings:
    """Time cells as read, in the order of their rows; shape (n,) each.

    first, second: UTC of the first and of the second pass; equal where there is but one.
    local: as written, to see steps back; fault: see Fault.
    """

    first: TimeArray
    second: TimeArray
    local: TimeArray
    fault: NDArray[np.int8]

    def only(self, keep: NDArray[np.bool_]) -> Readings:
        """Some of the rows."""
        return Readings(self.first[keep], self.second[keep], self.local[keep], self.fault[keep])


def join(parts: list[Readings]) -> Readings:
    """Readings of one file, batch after batch."""
    return Readings(
        np.concatenate([part.first for part in parts]),
        np.concatenate([part.second for part in parts]),
        np.concatenate([part.local for part in parts]),
        np.concatenate([part.fault for part in parts]),
    )


def read(texts: pl.Series, zone: ZoneInfo) -> Readings:
    """Read time cells; empty cells are null."""
    parts = texts.str.extract_groups(RFC_3339).struct.unnest()
    day, clock, fraction, offset = parts.get_columns()
    microseconds = fraction.fill_null("").str.slice(0, 7)
    stamp = (day + "T" + clock + microseconds).str.strptime(
        pl.Datetime("us"), "%Y-%m-%dT%H:%M:%S%.f", strict=False
    )
    local = stamp.to_numpy().astype("datetime64[us]")
    fault = np.zeros(local.size, np.int8)
    fault[np.isnat(local)] = Fault.UNREADABLE
    fault[texts.is_null().to_numpy()] = Fault.EMPTY
    fault[(local < EARLIEST) | (local >= LATEST)] = Fault.IMPLAUSIBLE
    first, second = local.copy(), local.copy()
    naive = offset.is_null().to_numpy()
    told = np.flatnonzero((fault == Fault.NONE) & ~naive)
    first[told] -= _offsets(offset.gather(told))
    second[told] = first[told]
    untold = np.flatnonzero((fault == Fault.NONE) & naive)
    first[untold], second[untold], skipped = _from_local(local[untold], zone)
    fault[untold[skipped]] = Fault.SKIPPED
    return Readings(first, second, local, fault)


def read_plain(cells: NDArray[np.uint8]) -> Readings | None:
    """Read cells of one width, shape (n, width), if all are plain UTC without any fault."""
    if cells.shape[1] != PLAIN_UTC.size or (cells[:, ~DIGIT] != PLAIN_UTC[~DIGIT]).any():
        return None
    if (cells[:, DIGIT] - ord("0") > 9).any():  # what lies before 0 becomes large
        return None
    texts = np.ascontiguousarray(cells[:, :-1]).view(f"S{PLAIN_UTC.size - 1}").ravel()
    try:
        utc = texts.astype("datetime64[us]")
    except ValueError:
        return None
    if (utc < EARLIEST).any() or (utc >= LATEST).any():
        return None
    return Readings(utc, utc, utc, np.zeros(utc.size, np.int8))


def settle(readings: Readings) -> TimeArray:
    """UTC of readings without fault, telling apart what the clock repeated by row order."""
    repeated = np.flatnonzero(readings.first != readings.second)
    utc = readings.first.copy()
    if not repeated.size:
        return utc
    steps = np.diff(readings.local)
    newest_first = bool(np.sum(steps < ZERO) > np.sum(steps > ZERO))
    interval = np.median(np.abs(steps[steps != ZERO])) if np.any(steps) else ZERO
    in_order = repeated[::-1] if newest_first else repeated
    # One change of clocks at a time; they are months apart.
    change = readings.first[in_order].astype("datetime64[D]")
    apart = np.flatnonzero(np.abs(np.diff(change)) > np.timedelta64(2, "D")) + 1
    for rows in np.split(in_order, apart):
        local = readings.local[rows]
        shift = readings.second[rows[0]] - readings.first[rows[0]]
        back = np.diff(local) < ZERO
        if interval > shift / 2:  # an hourly log shows the same time twice, and no step back
            back |= np.diff(local) == ZERO
        if back.any():
            later = rows[np.argmax(back) + 1 :]
            utc[later] = readings.second[later]
    return utc


def _offsets(texts: pl.Series) -> NDArray[np.timedelta64]:
    known = {text: _offset(text) for text in texts.unique().to_list()}
    minutes = texts.replace_strict(known, return_dtype=pl.Int64).to_numpy()
    return minutes.astype("timedelta64[m]").astype("timedelta64[us]")


def _offset(text: str) -> int:
    if text in "Zz":
        return 0
    minutes = int(text[1:3]) * 60 + int(text[4:6])
    return -minutes if text[0] == "-" else minutes


def _from_local(local: TimeArray, zone: ZoneInfo) -> tuple[TimeArray, TimeArray, NDArray[np.bool_]]:
    """UTC of the first and second pass, and whether clocks skipped the time.

    A day whose offset is the same at both ends has but one; on other days every second is asked.
    """
    days, day_of_row = np.unique(local.astype("datetime64[D]"), return_inverse=True)
    dawn = [_passes(day, zone) for day in days.astype("datetime64[s]").tolist()]
    dusk = [_passes(day, zone) for day in (days + 1).astype("datetime64[s]").tolist()]
    passes = np.array(dawn, "timedelta64[us]").reshape(-1, 2)[day_of_row]
    changing = np.array([len({*a, *b}) > 1 for a, b in zip(dawn, dusk, strict=True)], bool)
    rows = np.flatnonzero(changing[day_of_row])
    seconds, which = np.unique(local[rows].astype("datetime64[s]"), return_inverse=True)
    asked = [_passes(second, zone) for second in seconds.tolist()]
    passes[rows] = np.array(asked, "timedelta64[us]").reshape(-1, 2)[which]
    # PEP 495: fold=0 has the larger offset where a time comes twice, the smaller in a gap.
    return local - passes[:, 0], local - passes[:, 1], passes[:, 1] > passes[:, 0]


def _passes(local: datetime, zone: ZoneInfo) -> tuple[timedelta, timedelta]:
    """Offset from UTC in the first and in the second pass."""
    first = local.replace(tzinfo=zone, fold=0).utcoffset()
    second = local.replace(tzinfo=zone, fold=1).utcoffset()
    return first or timedelta(), second or timedelta()
