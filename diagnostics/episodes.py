"""Windows joined into episodes, with hysteresis."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from diagnostics import pooling, verdict, weigh
from diagnostics.findings import Context
from diagnostics.plant import Plant
from diagnostics.samples import FloatArray
from diagnostics.weigh import CONDITIONS, Weights
from diagnostics.windows import WINDOW_S, Windows

OPEN_AT = 0.75
CLOSE_AT = 0.35
"""Probability of any fault over the days before at which an episode opens, and closes."""


SPAN_S = 2 * 86_400.0
"""Windows are judged with those of the two days before them."""

LEAST_JUDGED_S = 3600.0
"""With less than an hour judged in those days a window neither opens nor closes anything: a
building at rest has not been repaired."""


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


def episodes(windows: Windows, plant: Plant, weights: Weights | None = None) -> tuple[Episode, ...]:
    """Every episode of the system, oldest first.

    windows: all rows of the system, ascending. weights: the plain table where none are given.
    """
    if not len(windows):
        return ()
    weights = weights or weigh.table()
    context = Context(plant, verdict.baseline(windows, plant, weights))
    pooled = pooling.trailing(windows, SPAN_S)
    shares = weigh.weigh(pooled, context, weights).probabilities
    silent = np.nan_to_num(pooled.column("judged_s")) < LEAST_JUDGED_S
    inside = _latched(np.where(silent, np.nan, 1.0 - shares[:, 0]))
    edges = np.diff(np.concatenate([[0], inside.astype(np.int8), [0]]))
    starts, ends = np.flatnonzero(edges == 1), np.flatnonzero(edges == -1)
    return tuple(
        _episode(windows, shares, int(first), int(end))
        for first, end in zip(starts, ends, strict=True)
    )


def _latched(fault: FloatArray) -> NDArray[np.bool_]:
    """True from where ``fault`` reaches OPEN_AT until it falls below CLOSE_AT, shape (w,).

    NaN says nothing.
    """
    said = np.where(fault >= OPEN_AT, 1, np.where(fault < CLOSE_AT, -1, 0))
    # The last window that said anything decides for those that say nothing.
    index = np.maximum.accumulate(np.where(said != 0, np.arange(said.size), -1))
    return np.asarray(np.where(index >= 0, said[index], -1) == 1)


def _episode(windows: Windows, shares: FloatArray, first: int, end: int) -> Episode:
    inside = shares[first:end]
    leading = 1 + int(np.argmax(inside[:, 1:].sum(axis=0)))
    peak = first + int(np.argmax(inside[:, leading]))
    last = windows.start[end - 1]
    return Episode(
        condition=CONDITIONS[leading],
        opened=windows.start[first],
        last=last,
        closed=None if end == len(windows) else last + np.timedelta64(WINDOW_S, "s"),
        peak_probability=float(shares[peak, leading]),
        peak_at=windows.start[peak],
    )
