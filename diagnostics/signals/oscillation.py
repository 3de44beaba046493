"""Oscillation measures on many blocks at once: rows are blocks, columns uniform time steps.

Regularity of the zero crossings of the autocorrelation: Thornhill, Huang & Zhang, Journal of
Process Control 13:91-100, 2003. Decay ratio of the autocorrelation: Miao & Seborg, 1999. Both
formulas are from memory; published signals with known answers check them in the tests.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy
from numpy.typing import NDArray

from diagnostics.samples import FloatArray

INTERVALS = 10
"""Intervals between zero crossings that the regularity index looks at (Thornhill et al.: about 10,
which takes 11 crossings, five to six cycles)."""


@dataclass(frozen=True)
class Regularity:
    """Zero crossings of an autocorrelation, each shape (rows,).

    period: in steps; NaN with fewer than two crossings.
    index: a third of mean over standard deviation of the intervals; above 1 is regular.
    intervals: how many intervals went into it.
    """

    period: FloatArray
    index: FloatArray
    intervals: NDArray[np.intp]


def detrend(values: FloatArray, degree: int = 1) -> FloatArray:
    """Rows less their least-squares polynomial; a row with a missing value becomes all missing."""
    steps = np.linspace(-1.0, 1.0, values.shape[1])
    basis, _ = np.linalg.qr(np.vander(steps, degree + 1))
    return np.asarray(values - (values @ basis) @ basis.T)


def autocorrelation(values: FloatArray, lags: int | None = None) -> FloatArray:
    """Autocorrelation (biased) of rows less their mean, shape (rows, lags); 0 for constant rows."""
    return cross_correlation(values, values, lags)


def cross_correlation(first: FloatArray, second: FloatArray, lags: int | None = None) -> FloatArray:
    """Correlation (biased) of ``first`` now with ``second`` some steps later, shape (rows, lags).

    Column k is the mean product of first[t] and second[t + k] over the standard deviations.
    """
    steps = first.shape[1]
    size = scipy.fft.next_fast_len(2 * steps, real=True)
    a = first - first.mean(axis=1, keepdims=True)
    b = second - second.mean(axis=1, keepdims=True)
    product = scipy.fft.irfft(
        np.conj(scipy.fft.rfft(a, size, axis=1)) * scipy.fft.rfft(b, size, axis=1), size, axis=1
    )
    scale = np.sqrt((a**2).sum(axis=1) * (b**2).sum(axis=1))[:, None]
    out = np.zeros((first.shape[0], lags or steps))
    np.divide(product[:, : lags or steps], scale, out=out, where=scale > 0)
    return out


def regularity(correlation: FloatArray, intervals: int = INTERVALS) -> Regularity:
    """Period and regularity from the zero crossings of autocorrelations, shape (rows, lags)."""
    rows, lags = correlation.shape
    if lags < 2:
        nothing = np.full(rows, np.nan)
        return Regularity(nothing, nothing.copy(), np.zeros(rows, np.intp))
    now, later = correlation[:, :-1], correlation[:, 1:]
    crossing = (now > 0) != (later > 0)
    order = np.cumsum(crossing, axis=1)
    crossing &= order <= intervals + 1
    count = crossing.sum(axis=1)
    row, column = np.nonzero(crossing)
    before, after = now[row, column], later[row, column]
    where = np.full((rows, intervals + 1), np.nan)
    where[row, order[row, column] - 1] = column + before / (before - after)
    gap = np.diff(where, axis=1)
    number = np.maximum(count - 1, 0)
    filled = np.nan_to_num(gap)
    mean = np.divide(filled.sum(axis=1), number, out=np.full(rows, np.nan), where=number > 0)
    spread = np.where(np.isnan(gap), 0.0, gap - mean[:, None])
    freedom = number - 1
    variance = np.divide(
        (spread**2).sum(axis=1), freedom, out=np.full(rows, np.nan), where=freedom > 0
    )
    with np.errstate(divide="ignore"):
        index = mean / np.sqrt(variance) / 3.0
    return Regularity(2.0 * mean, index, number)


def _first(mask: NDArray[np.bool_]) -> NDArray[np.intp]:
    """Column of the first True of each row; -1 where there is none."""
    return np.where(mask.any(axis=1), mask.argmax(axis=1), -1)


def decay_ratio(correlation: FloatArray) -> FloatArray:
    """Miao & Seborg's ratio of autocorrelations, shape (rows,); above 0.5 oscillates.

    Height of the first maximum above the line joining the first two minima, over the depth of the
    first minimum below the line joining lag 0 and the first maximum. 0 where these are not found.
    """
    rows, lags = correlation.shape
    if lags < 5:
        return np.zeros(rows)
    column = np.arange(1, lags - 1)[None, :]
    before, here, after = correlation[:, :-2], correlation[:, 1:-1], correlation[:, 2:]
    lowest = (here < before) & (here <= after)
    highest = (here > before) & (here >= after)
    first_low = _first(lowest) + 1
    top = _first(highest & (column > first_low[:, None])) + 1
    second_low = _first(lowest & (column > top[:, None])) + 1
    found = (first_low > 0) & (top > 0) & (second_low > 0)
    row = np.flatnonzero(found)
    i, j, k = first_low[found], top[found], second_low[found]
    c0, ci, cj, ck = (correlation[row, at] for at in (np.zeros_like(i), i, j, k))
    height = cj - (ci + (ck - ci) * (j - i) / (k - i))
    depth = (c0 + (cj - c0) * i / j) - ci
    out = np.zeros(rows)
    out[found] = np.divide(height, depth, out=np.zeros_like(height), where=depth > 0)
    return out
