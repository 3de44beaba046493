"""Fewer points for a screen, with every extreme kept and every gap left open."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from tsdownsample import MinMaxLTTBDownsampler

from diagnostics.samples import FloatArray
from diagnostics.signals.timebase import GAP_INTERVALS, usual_intervals

LEAST_A_RUN = 4
_DOWNSAMPLER = MinMaxLTTBDownsampler()


def runs(seconds: FloatArray, values: FloatArray) -> list[tuple[int, int]]:
    """Unbroken stretches [start, end) of finite values. ``seconds`` ascending, shape (n,)."""
    known = np.isfinite(values)
    if not known.any():
        return []
    step = np.diff(seconds)
    usual = usual_intervals(step)
    joined = np.concatenate(([False], known[1:] & known[:-1] & (step <= GAP_INTERVALS * usual)))
    starts = np.flatnonzero(known & ~joined)
    ends = np.flatnonzero(known & ~np.concatenate((joined[1:], [False]))) + 1
    return list(zip(starts.tolist(), ends.tolist(), strict=True))


def picked(seconds: FloatArray, values: FloatArray, points: int) -> NDArray[np.int64]:
    """Indices of about ``points`` samples to draw, -1 where the line must break.

    Each run keeps its own minimum and maximum (MinMaxLTTB); short runs are kept whole.
    """
    stretches = runs(seconds, values)
    total = sum(end - start for start, end in stretches)
    pieces: list[NDArray[np.int64]] = []
    for start, end in stretches:
        share = max(int(points * (end - start) / total), LEAST_A_RUN)
        pieces += [_thinned(seconds, values, start, end, share), np.array([-1])]
    return np.concatenate(pieces[:-1]) if pieces else np.zeros(0, dtype=np.int64)


def _thinned(
    seconds: FloatArray, values: FloatArray, start: int, end: int, points: int
) -> NDArray[np.int64]:
    if end - start <= points:
        return np.arange(start, end)
    chosen = _DOWNSAMPLER.downsample(
        np.ascontiguousarray(seconds[start:end]),
        np.ascontiguousarray(values[start:end]),
        n_out=points,
    ).astype(np.int64)
    for extreme in (np.argmin(values[start:end]), np.argmax(values[start:end])):
        at = np.searchsorted(chosen, extreme)
        if at == chosen.size or chosen[at] != extreme:
            chosen = np.insert(chosen, at, extreme)
    return np.asarray(chosen + start)
