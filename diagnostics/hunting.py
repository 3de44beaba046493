"""Hunting of the subcooler's valve, in blocks of ten minutes.

A block hunts when the opening and the temperature of the leaving liquid swing together, by more
than their resolution, through the whole block and at one period. The regularity index alone would
call an under-damped loop hunting 70 % of the time and white noise 3 %, so it is one criterion of
several. Swings too irregular for it count as well when they are large: a valve thrown between
nearly closed and a small opening while the leaving liquid swings by tens of kelvins hunts on a
thin stream (common practice, no source).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from diagnostics import oscillation
from diagnostics.direction import Direction
from diagnostics.plant import Plant
from diagnostics.quasisteady import settled
from diagnostics.samples import FloatArray, Samples, TimeArray
from diagnostics.state import States
from diagnostics.timebase import BoolArray, IndexArray, Timebase

BLOCK_S = 600
FINEST_STEP_S = 5.0
"""No faster grid is needed: six points in the shortest period of interest."""

SHORTEST_PERIOD_S = 60.0
"""Expansion valves hunt with periods of about 30 s to 5 min (from memory); the line and the
thermistor smooth away most of what is faster than this."""

FULL_SIGHT_INTERVAL_S = SHORTEST_PERIOD_S / 4
"""Up to this logging interval every period of interest shows, and "no hunting" can be said."""

BLIND_INTERVAL_S = 60.0
"""From this logging interval on hunting cannot be told from noise at all."""

ENOUGH_OF_A_BLOCK = 0.7

OPENING_SWING = 0.012
"""Peak to peak, fraction: beyond a stepper's hysteresis of 3 to 10 pulses of 480 at its middle."""

LIQUID_SWING_K = 0.8
"""Peak to peak: several times the last digit of usual loggers and the noise of a thermistor."""

LARGE_SWING_K = 4.0
COHERENCE = 0.5
PERIOD_AGREEMENT = 0.35
LEAST_CYCLES = 1.8
LEAST_REVERSALS = 8
"""Four throws there and back in ten minutes."""

LOCAL_S = 100.0
LONG_LOCAL_S = 180.0
LONG_PERIOD_S = 200.0
LOCAL_SHARE = 0.5
LEAST_OPENING_SHARE = 0.6
LEAST_LIQUID_SHARE = 0.5
"""The swing must fill more than half of the block: there the standard deviation over a hundred
seconds (longer for long periods) must reach this share of its upper level in the block. Chosen on
simulated systems, where it puts the edges of hunting right on average."""


@dataclass(frozen=True)
class Hunting:
    """One row a block of ten minutes (UTC), b blocks; NaN where it cannot be judged.

    judged: False where the interval is too long, samples are missing or the unit did not run.
    Between ``FULL_SIGHT_INTERVAL_S`` and ``BLIND_INTERVAL_S`` only a block that hunts is judged.
    period_s of the common swing; opening_swing (fraction), liquid_swing_k peak to peak;
    regularity, decay_ratio of the opening; gain_k liquid swing per full opening.
    per_sample: 1 hunting, 0 not, -1 cannot be judged, shape (n,).
    """

    block_start: TimeArray
    judged: BoolArray
    hunting: BoolArray
    period_s: FloatArray
    opening_swing: FloatArray
    liquid_swing_k: FloatArray
    regularity: FloatArray
    decay_ratio: FloatArray
    gain_k: FloatArray
    mean_opening: FloatArray
    per_sample: NDArray[np.int8]


@dataclass(frozen=True)
class _Blocks:
    """The span cut into blocks; ``row`` is the block of each sample.

    grid_s: uniform instants of each block, with ``margin`` more on either side.
    """

    start: TimeArray
    row: IndexArray
    step_s: float
    margin: int
    grid_s: FloatArray


def detect(
    samples: Samples, timebase: Timebase, states: States, direction: Direction, plant: Plant
) -> Hunting:
    """Judge every block that holds a sample.

    samples: cleaned. The leaving liquid is at the indoor side when it runs to_indoor, at the
    outdoor side when it runs to_outdoor; where the direction is not known, the sensor that swings
    more is taken, as the other one sees the liquid before the valve can act on it.
    """
    del plant  # openings are fractions of full already
    opening = samples.outdoor_or_nan("subcooler_valve")
    blocks = _cut(samples, timebase)
    count = blocks.start.size
    if not count or timebase.interval_s >= BLIND_INTERVAL_S or np.isnan(timebase.interval_s):
        return _unjudged(blocks)
    usable = settled(states)
    z, full = _resample(blocks, timebase, opening, usable)
    liquid, seen = _leaving_liquid(blocks, samples, timebase, usable, direction)
    enough = (full >= ENOUGH_OF_A_BLOCK) & (seen >= ENOUGH_OF_A_BLOCK)
    found, measures = _judge(z, liquid, blocks)
    hunting = enough & found
    judged = enough if timebase.interval_s <= FULL_SIGHT_INTERVAL_S else hunting
    blank = {name: np.where(judged, values, np.nan) for name, values in measures.items()}
    per_block = np.where(judged, hunting, -1).astype(np.int8)
    return Hunting(blocks.start, judged, hunting, per_sample=per_block[blocks.row], **blank)


def _cut(samples: Samples, timebase: Timebase) -> _Blocks:
    number = samples.time.astype("datetime64[s]").astype(np.int64) // BLOCK_S
    blocks, row = np.unique(number, return_inverse=True)
    start = (blocks * BLOCK_S).astype("datetime64[s]").astype("datetime64[us]")
    step = max(FINEST_STEP_S, timebase.interval_s if len(samples) > 1 else BLOCK_S)
    steps = max(2, int(BLOCK_S // step))
    step = BLOCK_S / steps
    margin = max(1, round(LONG_LOCAL_S / 2 / step))
    offset = (start - samples.time[:1]) / np.timedelta64(1, "s")
    grid = offset[:, None] + (np.arange(-margin, steps + margin) + 0.5) * step
    return _Blocks(start, row, step, margin, grid)


def _unjudged(blocks: _Blocks) -> Hunting:
    count = blocks.start.size
    no = np.zeros(count, bool)
    nan = np.full(count, np.nan)
    per_sample = np.full(blocks.row.size, -1, np.int8)
    return Hunting(blocks.start, no, no, nan, nan, nan, nan, nan, nan, nan, per_sample)


def _resample(
    blocks: _Blocks, timebase: Timebase, values: FloatArray, usable: BoolArray
) -> tuple[FloatArray, FloatArray]:
    """Values on each block's grid, and the share of its grid with a sample near by.

    Grid points without one hold the straight line between the neighbours.
    """
    keep = np.flatnonzero(usable & ~np.isnan(values))
    shape = blocks.grid_s.shape
    if not keep.size:
        return np.zeros(shape), np.zeros(shape[0])
    seconds = timebase.seconds[keep]
    grid = blocks.grid_s.reshape(-1)
    after = np.minimum(np.searchsorted(seconds, grid), keep.size - 1)
    before = np.maximum(after - 1, 0)
    nearest = np.minimum(np.abs(seconds[after] - grid), np.abs(grid - seconds[before]))
    near = nearest <= 1.01 * max(timebase.interval_s, blocks.step_s)
    out = np.interp(grid, seconds, values[keep]).reshape(shape)
    inside = slice(blocks.margin, shape[1] - blocks.margin)
    return out, near.reshape(shape)[:, inside].mean(axis=1)


def _leaving_liquid(
    blocks: _Blocks,
    samples: Samples,
    timebase: Timebase,
    usable: BoolArray,
    direction: Direction,
) -> tuple[FloatArray, FloatArray]:
    indoor, indoor_share = _resample(
        blocks, timebase, samples.outdoor_or_nan("liquid_temperature_indoor_side"), usable
    )
    outdoor, outdoor_share = _resample(
        blocks, timebase, samples.outdoor_or_nan("liquid_temperature_outdoor_side"), usable
    )
    count = blocks.start.size
    sign = np.bincount(blocks.row, weights=direction.sign, minlength=count)
    larger = outdoor.std(axis=1) > indoor.std(axis=1)
    at_outdoor = np.where(sign == 0, larger, sign < 0)
    # A block without the sensor at the leaving end may still be judged at the other one, where
    # the direction is not known.
    at_outdoor &= ~((sign == 0) & (outdoor_share < ENOUGH_OF_A_BLOCK))
    liquid = np.where(at_outdoor[:, None], outdoor, indoor)
    return liquid, np.where(at_outdoor, outdoor_share, indoor_share)


def _swing(values: FloatArray) -> FloatArray:
    """Robust peak to peak of rows: between the 5th and the 95th percentile."""
    ordered = np.sort(values, axis=1)
    steps = values.shape[1]
    low = round(0.05 * (steps - 1))
    return np.asarray(ordered[:, steps - 1 - low] - ordered[:, low])


def _reversals(values: FloatArray) -> FloatArray:
    """Number of crossings of the middle between the extremes of each row."""
    middle = (values.max(axis=1) + values.min(axis=1))[:, None] / 2
    above = values > middle
    return np.asarray((above[:, 1:] != above[:, :-1]).sum(axis=1))


def _judge(
    opening: FloatArray, liquid: FloatArray, blocks: _Blocks
) -> tuple[BoolArray, dict[str, FloatArray]]:
    """Criteria on the grids (blocks, steps): who hunts, and what was measured."""
    inside = slice(blocks.margin, opening.shape[1] - blocks.margin)
    z, t = oscillation.detrend(opening[:, inside]), oscillation.detrend(liquid[:, inside])
    z_correlation = oscillation.autocorrelation(z)
    t_correlation = oscillation.autocorrelation(t)
    z_regular, t_regular = (oscillation.regularity(c) for c in (z_correlation, t_correlation))
    z_decay, t_decay = (oscillation.decay_ratio(c) for c in (z_correlation, t_correlation))
    coherence = _follow(z, t, z_regular.period)
    slow = z_regular.period * blocks.step_s > LONG_PERIOD_S
    lasting = _share(opening, blocks, slow) >= LEAST_OPENING_SHARE
    lasting &= _share(liquid, blocks, slow) >= LEAST_LIQUID_SHARE
    z_swing, t_swing = _swing(z), _swing(t)
    amplitude = (z_swing >= OPENING_SWING) & (t_swing >= LIQUID_SWING_K)
    with np.errstate(invalid="ignore"):
        one_period = np.abs(np.log(z_regular.period / t_regular.period)) < PERIOD_AGREEMENT
        cycles = z.shape[1] / z_regular.period
        regular = (z_decay > 0.5) | (t_decay > 0.5)
        regular |= (z_regular.index > 1.0) & (z_regular.intervals >= 3)
        regular |= (t_regular.index > 1.0) & (t_regular.intervals >= 3)
        periodic = regular & one_period & (cycles >= LEAST_CYCLES)
    wild = (t_swing >= LARGE_SWING_K) & (_reversals(z) >= LEAST_REVERSALS)
    found = amplitude & (coherence >= COHERENCE) & lasting & (periodic | wild)
    with np.errstate(divide="ignore", invalid="ignore"):
        gain = np.where(z_swing > 0, t_swing / z_swing, np.nan)
    return found, {
        "period_s": z_regular.period * blocks.step_s,
        "opening_swing": z_swing,
        "liquid_swing_k": t_swing,
        "regularity": z_regular.index,
        "decay_ratio": z_decay,
        "gain_k": gain,
        "mean_opening": opening[:, inside].mean(axis=1),
    }


def _share(values: FloatArray, blocks: _Blocks, slow: BoolArray) -> FloatArray:
    """Share of each block that swings: local standard deviation near its upper level there."""
    level = values - values.mean(axis=1, keepdims=True)
    shares = []
    for width_s in (LOCAL_S, LONG_LOCAL_S):
        half = min(blocks.margin, max(1, round(width_s / 2 / blocks.step_s)))
        cut = slice(blocks.margin - half, level.shape[1] - blocks.margin + half)
        near, width = level[:, cut], 2 * half + 1
        local = _moving_mean(near**2, width) - _moving_mean(near, width) ** 2
        upper = np.sort(local, axis=1)[:, -max(1, local.shape[1] // 5), None]
        shares.append((local >= LOCAL_SHARE**2 * upper).mean(axis=1))
    return np.asarray(np.where(slow, shares[1], shares[0]))


def _moving_mean(values: FloatArray, width: int) -> FloatArray:
    total = np.cumsum(values, axis=1)
    total = np.concatenate([np.zeros((values.shape[0], 1)), total], axis=1)
    return np.asarray((total[:, width:] - total[:, :-width]) / width)


def _follow(opening: FloatArray, liquid: FloatArray, period_steps: FloatArray) -> FloatArray:
    """How well cooling of the liquid follows the opening, 0..1.

    More opening cools the leaving liquid, after transport and the thermistor's lag: the largest
    correlation of the opening with the negative temperature at a lag up to half a period.
    """
    lags = max(2, opening.shape[1] // 3)
    correlation = oscillation.cross_correlation(opening, -liquid, lags)
    longest = np.nan_to_num(period_steps, nan=float(lags)) / 2
    plausible = np.arange(lags)[None, :] <= np.maximum(longest, 2)[:, None]
    return np.asarray(np.where(plausible, correlation, 0.0).max(axis=1))
