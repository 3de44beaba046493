"""Rows over a longer span: the same features, averaged by the seconds they rest on."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from diagnostics.samples import FloatArray
from diagnostics.windows import FEATURES, INDEX, Windows

DAY_S = 86_400.0
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
    weights = _weights(windows)
    total = (np.nan_to_num(windows.features) * weights).sum(axis=0)
    return Windows(windows.start[-1:], _ratio(total, weights.sum(axis=0))[None, :])


def trailing(windows: Windows, span_s: float) -> Windows:
    """Each row pooled with those that started less than ``span_s`` seconds before it."""
    if not len(windows):
        return windows
    span = np.timedelta64(int(span_s * 1e6), "us")
    first = np.searchsorted(windows.start, windows.start - span, side="right")
    return _between_rows(windows, first, np.arange(1, len(windows) + 1))


def daily(windows: Windows) -> Windows:
    """One row a UTC day, dated at midnight."""
    if not len(windows):
        return windows
    days, first = np.unique(windows.start.astype("datetime64[D]"), return_index=True)
    pooled = _between_rows(windows, first, np.append(first[1:], len(windows)))
    return Windows(days.astype("datetime64[us]"), pooled.features)


def _between_rows(windows: Windows, first: NDArray[np.int64], end: NDArray[np.int64]) -> Windows:
    """Pool rows ``first[i] <= row < end[i]`` for every i, by running sums."""
    weights = _weights(windows)
    products = np.nan_to_num(windows.features) * weights
    running = np.concatenate([np.zeros((1, products.shape[1])), np.cumsum(products, axis=0)])
    resting = np.concatenate([np.zeros((1, weights.shape[1])), np.cumsum(weights, axis=0)])
    total, weight = running[end] - running[first], resting[end] - resting[first]
    return Windows(windows.start[end - 1], _ratio(total, weight))
