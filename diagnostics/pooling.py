"""Rows over a longer span: the same features, averaged by the seconds they rest on."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from diagnostics.samples import FloatArray
from diagnostics.windows import FEATURES, INDEX, Windows

_WEIGHT_COLUMN = np.array([INDEX[f.weight] if f.weight else -1 for f in FEATURES])
_IS_SECONDS = _WEIGHT_COLUMN < 0


def _weights(windows: Windows) -> FloatArray:
    """Seconds behind every cell, zero where the cell is missing; shape of the features."""
    seconds = np.nan_to_num(windows.features)
    weights = seconds[:, np.where(_IS_SECONDS, 0, _WEIGHT_COLUMN)]
    weights[np.isnan(windows.features)] = 0.0
    weights[:, _IS_SECONDS] = 1.0
    return weights


def _ratio(total: FloatArray, weight: FloatArray) -> FloatArray:
    with np.errstate(invalid="ignore", divide="ignore"):
        means = total / weight
    # Running sums leave rounding dust where nothing was measured: less than a second is nothing.
    means[weight < 1.0] = np.nan
    return np.where(_IS_SECONDS, total, means)


def pool(windows: Windows) -> Windows:
    """All rows as one, dated at the last row's start. No rows give no row."""
    if not len(windows):
        return windows
    return _between_rows(windows, np.array([0]), np.array([len(windows)]))


def trailing(windows: Windows, span_s: float) -> Windows:
    """Each row pooled with those that started less than ``span_s`` seconds before it."""
    if not len(windows):
        return windows
    span = np.timedelta64(int(span_s * 1e6), "us")
    first = np.searchsorted(windows.start, windows.start - span, side="right")
    return _between_rows(windows, first, np.arange(1, len(windows) + 1))


def daily(windows: Windows) -> Windows:
    """One row a UTC day, dated at midnight. Days pooled already stay as they are."""
    if not len(windows):
        return windows
    first = _midnights(windows)
    pooled = _between_rows(windows, first, np.append(first[1:], len(windows)))
    days = windows.start[first].astype("datetime64[D]")
    return Windows(days.astype("datetime64[us]"), pooled.features)


def _midnights(windows: Windows) -> NDArray[np.int64]:
    """The first row of every UTC day."""
    days = windows.start.astype("datetime64[D]")
    return np.flatnonzero(np.append(True, days[1:] != days[:-1]))


def _between_rows(windows: Windows, first: NDArray[np.int64], end: NDArray[np.int64]) -> Windows:
    """Pool rows ``first[i] <= row < end[i]`` for every i.

    Running sums begin anew at every UTC midnight: to its last bit, a pooled row depends on the days
    it reaches into and on no others, however many are at hand.
    """
    weights = _weights(windows)
    if (end - first == 1).all():  # days pooled already
        return Windows(windows.start[first], _alone(windows.features[first], weights[first]))
    summed = np.concatenate([np.nan_to_num(windows.features) * weights, weights], axis=1)
    midnights = _midnights(windows)
    ends = np.append(midnights[1:], len(windows))
    for low, high in zip(midnights, ends, strict=True):
        np.cumsum(summed[low:high], axis=0, out=summed[low:high])
    day = np.repeat(np.arange(midnights.size), ends - midnights)
    pooled = summed[end - 1]
    for back in range(1, int((day[end - 1] - day[first]).max()) + 1):
        reaching = np.flatnonzero(day[end - 1] - back >= day[first])
        pooled[reaching] += summed[ends[day[end[reaching] - 1] - back] - 1]
    within = np.flatnonzero(first > midnights[day[first]])
    pooled[within] -= summed[first[within] - 1]
    total, weight = np.split(pooled, 2, axis=1)
    means = _ratio(total, weight)
    alone = np.flatnonzero(end - first == 1)  # to divide by what it was multiplied with may round
    means[alone] = _alone(windows.features[first[alone]], weight[alone])
    return Windows(windows.start[end - 1], means)


def _alone(features: FloatArray, weights: FloatArray) -> FloatArray:
    """Rows that nothing is pooled with; shape (n, features)."""
    return np.where(_IS_SECONDS, np.nan_to_num(features), np.where(weights < 1.0, np.nan, features))
