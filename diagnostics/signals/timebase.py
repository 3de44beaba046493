"""Time of the samples, and what depends on it: gaps, rolling windows, delays.

Everything here takes real time stamps, so jitter and gaps need no resampling. A gap, more than
2.5 logging intervals without a sample, starts a new segment; no window reaches over it. The logging
interval is the usual one of the neighbourhood, since a logger may change its pace.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import scipy
from numpy.typing import NDArray

from diagnostics.samples import FloatArray, Samples

BoolArray = NDArray[np.bool_]
IndexArray = NDArray[np.intp]

GAP_INTERVALS = 2.5
NEIGHBOURHOOD = 15
"""Steps whose median is the usual interval at one place."""

LEAST_CHANGES = 50
SOONEST = 0.02
"""Changes of a reading from which, and the quantile of the times between them by which, it is told
how often it is refreshed."""

HOLD_INTERVALS = 2.0
"""A value may stand in for missing neighbours over this many logging intervals, no longer."""


@dataclass(frozen=True, eq=False)
class Timebase:
    """Time stamps of one span.

    seconds: since the first sample, ascending, shape (n,).
    interval_s: median logging interval; NaN with fewer than two samples.
    usual_s: usual logging interval around each sample, shape (n,).
    segment: number of gaps before each sample, shape (n,).
    """

    seconds: FloatArray
    interval_s: float
    usual_s: FloatArray
    segment: NDArray[np.int32]
    _windows: dict[tuple[float, float], tuple[IndexArray, IndexArray]] = field(
        default_factory=dict, repr=False
    )

    def __len__(self) -> int:
        """Number of samples."""
        return int(self.seconds.size)

    def window(self, before_s: float, after_s: float) -> tuple[IndexArray, IndexArray]:
        """Half-open index ranges of the samples from t - before_s to t + after_s, both included.

        Ranges stop at gaps. They are kept, since several detectors look through equal windows.
        """
        key = (before_s, after_s)
        if key not in self._windows:
            # A millisecond of slack keeps a sample on the edge inside in spite of rounding.
            low = np.searchsorted(self.seconds, self.seconds - (before_s + 1e-3), "left")
            high = np.searchsorted(self.seconds, self.seconds + (after_s + 1e-3), "right")
            first, end = self._segment_bounds()
            self._windows[key] = (np.maximum(low, first), np.minimum(high, end))
        return self._windows[key]

    def _segment_bounds(self) -> tuple[IndexArray, IndexArray]:
        first = np.searchsorted(self.segment, self.segment, "left")
        end = np.searchsorted(self.segment, self.segment, "right")
        return first, end


def of(samples: Samples) -> Timebase:
    """The time base of ``samples``."""
    return of_seconds(samples.seconds())


def of_seconds(seconds: FloatArray) -> Timebase:
    """The time base of ascending time stamps [s], shape (n,)."""
    if seconds.size < 2:
        nothing = np.full(seconds.size, np.nan)
        return Timebase(seconds, float("nan"), nothing, np.zeros(seconds.size, np.int32))
    steps = np.diff(seconds)
    usual = usual_intervals(steps)
    segment = np.zeros(seconds.size, np.int32)
    np.cumsum(steps > GAP_INTERVALS * usual, out=segment[1:])
    return Timebase(seconds, float(np.median(steps)), np.append(usual[:1], usual), segment)


def usual_intervals(steps: FloatArray) -> FloatArray:
    """Usual interval around each step between samples: the median of its neighbourhood."""
    if not steps.size or steps.max() <= GAP_INTERVALS * steps.min():
        return np.full(steps.size, np.median(steps) if steps.size else np.nan)
    return np.asarray(
        scipy.ndimage.median_filter(steps, NEIGHBOURHOOD, mode="nearest"), dtype=np.float64
    )


def _window(timebase: Timebase, window_s: float, centred: bool) -> tuple[IndexArray, IndexArray]:
    return timebase.window(window_s / 2, window_s / 2) if centred else timebase.window(window_s, 0)


def _window_sum(values: FloatArray, low: IndexArray, high: IndexArray) -> FloatArray:
    total = np.zeros((*values.shape[:-1], values.shape[-1] + 1))
    np.cumsum(values, axis=-1, out=total[..., 1:])
    return np.asarray(np.take(total, high, axis=-1) - np.take(total, low, axis=-1))


def rolling_mean(
    values: FloatArray, timebase: Timebase, window_s: float, *, centred: bool = True
) -> FloatArray:
    """Mean of the values present in a window around (or, not centred, up to) each sample.

    values: shape (..., n). NaN where the window holds no value.
    """
    return window_mean(values, *_window(timebase, window_s, centred))


def window_mean(values: FloatArray, low: IndexArray, high: IndexArray) -> FloatArray:
    """Mean of the values present in the index ranges ``low`` to ``high`` (``Timebase.window``)."""
    present = ~np.isnan(values)
    # Sums of differences from the general level keep their digits where sums of pressures do not.
    level = float(np.nanmean(values)) if present.any() else 0.0
    count = _window_sum(present.astype(np.float64), low, high)
    total = _window_sum(np.where(present, values - level, 0.0), low, high)
    return level + np.divide(total, count, out=np.full_like(total, np.nan), where=count > 0)


def seconds_since(mask: BoolArray, timebase: Timebase) -> FloatArray:
    """Time [s] since ``mask`` was last True; 0 where it is, inf where it never was."""
    last = np.maximum.accumulate(np.where(mask, timebase.seconds, -np.inf)) if mask.size else 0.0
    return np.asarray(timebase.seconds - last, dtype=np.float64)


def seconds_until(mask: BoolArray, timebase: Timebase) -> FloatArray:
    """Time [s] until ``mask`` is True next; 0 where it is, inf where it never will be."""
    if not mask.size:
        return np.zeros(0)
    coming = np.where(mask, timebase.seconds, np.inf)[::-1]
    return np.asarray(np.minimum.accumulate(coming)[::-1] - timebase.seconds)


def near(mask: BoolArray, timebase: Timebase, before_s: float, after_s: float) -> BoolArray:
    """True from ``before_s`` before to ``after_s`` after every True sample."""
    return (seconds_until(mask, timebase) <= before_s) | (seconds_since(mask, timebase) <= after_s)


def lag(mask: BoolArray, timebase: Timebase, delay_s: float) -> BoolArray:
    """True where ``mask`` has been True without a break for at least ``delay_s``.

    The beginning of a segment counts as a break.
    """
    fresh = np.zeros(mask.size, bool)
    fresh[:1] = True
    fresh[1:] = np.diff(timebase.segment) > 0
    # A stretch starts at its own first True sample, not at the last False one before it.
    start = mask & (fresh | ~np.concatenate(([False], mask[:-1])))
    return mask & (seconds_since(start, timebase) >= delay_s - 1e-3)


def starts(mask: BoolArray) -> BoolArray:
    """True at the first sample of each stretch of True samples; never at the very first sample."""
    out = np.zeros(mask.size, bool)
    out[1:] = mask[1:] & ~mask[:-1]
    return out


def hold(values: FloatArray, timebase: Timebase) -> FloatArray:
    """Missing values replaced by the last one present, if it is at most 2 intervals old.

    values: shape (..., n).
    """
    missing = np.isnan(values)
    if not missing.any():
        return values
    if values.ndim > 1:
        out = values.copy()
        # Most rows have no hole, and finding the last value is the dear part.
        for row in np.argwhere(missing.any(axis=-1)):
            out[tuple(row)] = hold(values[tuple(row)], timebase)
        return out
    last = np.maximum.accumulate(np.where(missing, 0, np.arange(values.size)))
    hole = np.flatnonzero(missing)
    age = timebase.seconds[hole] - timebase.seconds[last[hole]]
    fresh = age <= HOLD_INTERVALS * timebase.interval_s + 1e-3
    out = values.copy()
    out[hole[fresh]] = values[last[hole[fresh]]]
    return out


def run_lengths(values: FloatArray) -> tuple[IndexArray, IndexArray]:
    """Start index and number of samples of each run of identical values, shape (runs,).

    NaN never equals anything, so each missing value is a run of its own.
    """
    if not values.size:
        return np.zeros(0, np.intp), np.zeros(0, np.intp)
    begin = np.flatnonzero(np.concatenate(([True], values[1:] != values[:-1])))
    return begin, np.diff(np.concatenate((begin, [values.size])))


def refresh_s(values: FloatArray, timebase: Timebase) -> float:
    """How long a reading stands at least before it changes [s]; NaN for one that hardly changes.

    A gateway that asks a unit less often than it writes repeats the last answer: the reading then
    never changes sooner than that. A calm or coarse reading stands long as well, but now and then
    flickers between two digits.
    """
    known = np.flatnonzero(~np.isnan(values))
    seconds, held = timebase.seconds[known], values[known]
    changes = seconds[1:][held[1:] != held[:-1]]
    if changes.size < LEAST_CHANGES:
        return float("nan")
    return float(np.quantile(np.diff(changes), SOONEST))
