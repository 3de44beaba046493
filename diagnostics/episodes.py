"""Windows joined into episodes, with hysteresis, day by day.

A day leaves for the next only whether a stretch is open and what it has come to; so when a day
changes, the days before it need not be followed again.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from diagnostics import pooling, verdict
from diagnostics.findings import Context
from diagnostics.plant import Plant
from diagnostics.samples import FloatArray, TimeArray
from diagnostics.weighing import weigh
from diagnostics.weighing.weigh import CONDITIONS, Weights
from diagnostics.windows import WINDOW_S, Windows

OPEN_AT = 0.9
CLOSE_AT = 0.35
"""Probability of any fault over the days before at which an episode opens, and closes. Higher than
what a verdict needs to be called: an episode is looked for in every window, and what is tried a
hundred times a day succeeds by chance."""


SPAN_S = 2 * 86_400.0
"""Windows are judged with those of the two days before them."""

LEAST_JUDGED_S = 4 * 3600.0
"""With less than this judged in those days a window neither opens nor closes anything: a morning's
run proves nothing, and a building at rest has not been repaired. On a tuning fleet this and
``OPEN_AT`` took false episodes from 7 to 3 of 108 healthy weeks, and charges off by a fifth and
more that make one within their first week from 93 to 85 %."""


@dataclass(frozen=True)
class Episode:
    """A stretch of windows under one suspicion.

    opened, last, peak_at: starts of windows; closed: end of the last one, None while it lasts.
    condition: the one with the largest share of the probability over the stretch.
    """

    condition: str
    opened: np.datetime64
    last: np.datetime64
    closed: np.datetime64 | None
    peak_probability: float
    peak_at: np.datetime64


@dataclass(frozen=True, eq=False)
class Open:
    """A stretch under suspicion that has not ended, as far as it has gone.

    opened, last: starts of its first and last window. total: sum over its windows of the
    probabilities of the conditions, shape (6,). peak, peak_at: the highest probability of each
    condition and the start of the window that first had it, shape (6,).
    """

    opened: np.datetime64
    last: np.datetime64
    total: FloatArray
    peak: FloatArray
    peak_at: TimeArray

    def and_then(self, later: Open) -> Open:
        """Both as one stretch."""
        higher = later.peak > self.peak
        return Open(
            self.opened,
            later.last,
            self.total + later.total,
            np.where(higher, later.peak, self.peak),
            np.where(higher, later.peak_at, self.peak_at),
        )

    def episode(self, closed: np.datetime64 | None) -> Episode:
        """The episode it makes."""
        leading = 1 + int(np.argmax(self.total[1:]))
        return Episode(
            condition=CONDITIONS[leading],
            opened=self.opened,
            last=self.last,
            closed=closed,
            peak_probability=float(self.peak[leading]),
            peak_at=self.peak_at[leading],
        )


@dataclass(frozen=True, eq=False)
class Day:
    """What a UTC day came to: the episodes that closed in it, and the stretch open at its end."""

    day: np.datetime64
    closed: tuple[Episode, ...]
    still_open: Open | None


def episodes(windows: Windows, plant: Plant, weights: Weights | None = None) -> tuple[Episode, ...]:
    """Every episode of the system, oldest first.

    windows: all rows of the system, ascending. weights: the plain table where none are given.
    """
    if not len(windows):
        return ()
    weights = weights or weigh.table()
    context = Context(plant, verdict.baseline(windows, plant, weights))
    days = follow(windows, context, weights)
    closed = [episode for day in days for episode in day.closed]
    still_open = days[-1].still_open
    return (*closed, *([still_open.episode(None)] if still_open else []))


def follow(
    windows: Windows,
    context: Context,
    weights: Weights,
    since: np.datetime64 | None = None,
    before: Open | None = None,
) -> list[Day]:
    """Day by day what the windows come to, from the UTC midnight ``since`` on.

    windows: ascending; of those before ``since`` the ones less than ``SPAN_S`` older are needed.
    before: the stretch open when ``since`` comes. Whether the days before are followed again or
    taken from what was kept, the result is the same to the last bit.
    """
    pooled = pooling.trailing(windows, SPAN_S)
    if since is not None:
        pooled = pooled.rows(pooled.start >= since)
    shares = weigh.weigh(pooled, context, weights).probabilities
    silent = np.nan_to_num(pooled.column("judged_s")) < LEAST_JUDGED_S
    fault = np.where(silent, np.nan, 1.0 - shares[:, 0])
    days, first = np.unique(pooled.start.astype("datetime64[D]"), return_index=True)
    found: list[Day] = []
    for day, low, high in zip(days, first, [*first[1:], len(pooled)], strict=True):
        rows = slice(int(low), int(high))
        inside = _latched(fault[rows], before is not None)
        closed, before = _through(pooled.start[rows], shares[rows], inside, before)
        found.append(Day(day, closed, before))
    return found


def _latched(fault: FloatArray, before: bool = False) -> NDArray[np.bool_]:
    """True from where ``fault`` reaches OPEN_AT until it falls below CLOSE_AT, shape (w,).

    NaN says nothing. before: what holds until something is said.
    """
    said = np.where(fault >= OPEN_AT, 1, np.where(fault < CLOSE_AT, -1, 0))
    # The last window that said anything decides for those that say nothing.
    index = np.maximum.accumulate(np.where(said != 0, np.arange(said.size), -1))
    return np.asarray(np.where(index >= 0, said[index] == 1, before))


def _through(
    start: TimeArray, shares: FloatArray, inside: NDArray[np.bool_], before: Open | None
) -> tuple[tuple[Episode, ...], Open | None]:
    """Episodes that close among some windows, and the stretch open after them."""
    edges = np.diff(np.concatenate([[0], inside.astype(np.int8), [0]]))
    starts, ends = np.flatnonzero(edges == 1), np.flatnonzero(edges == -1)
    closed: list[Episode] = []
    still_open = before
    if before is not None and not inside[0]:
        closed.append(before.episode(_end(before)))
        still_open = None
    for first, end in zip(starts, ends, strict=True):
        stretch = _stretch(start[first:end], shares[first:end])
        still_open = still_open.and_then(stretch) if still_open else stretch
        if end < inside.size:
            closed.append(still_open.episode(_end(still_open)))
            still_open = None
    return tuple(closed), still_open


def _end(stretch: Open) -> np.datetime64:
    return stretch.last + np.timedelta64(WINDOW_S, "s")


def _stretch(start: TimeArray, shares: FloatArray) -> Open:
    highest = shares.argmax(axis=0)
    return Open(start[0], start[-1], shares.sum(axis=0), shares.max(axis=0), start[highest])
