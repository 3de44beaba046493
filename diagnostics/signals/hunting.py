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
import scipy
from numpy.typing import NDArray

from diagnostics.plant import Plant
from diagnostics.samples import FloatArray, Samples, TimeArray
from diagnostics.signals import oscillation
from diagnostics.signals import timebase as tb
from diagnostics.signals.direction import Direction
from diagnostics.signals.quasisteady import settled
from diagnostics.signals.state import States
from diagnostics.signals.timebase import BoolArray, IndexArray, Timebase

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

OPENING_SWING = 0.02
"""Peak to peak, fraction: beyond a stepper's hysteresis of 3 to 10 pulses of 480."""

LIQUID_SWING_K = 1.0
CLEAR_LIQUID_SWING_K = 0.6
"""Peak to peak: several times the last digit of usual loggers and the noise of a thermistor; less
is enough behind an opening that swings regularly through many intervals."""

MANY_INTERVALS = 5
"""Between zero crossings: from here on regularity alone tells a cycle, and that the liquid follows
it shows the common period. With three or four the decay ratio and the liquid's own period must
agree, for two strokes of any kind look regular."""

RELIABLE_LAGS = 0.9
"""Part of the autocorrelation whose zero crossings count: at longer lags it rests on a handful of
products, and a crossing there may be anywhere."""

LARGE_SWING_K = 4.0
OWN_SHARE = 0.6
"""Part of the leaving liquid's swing that must be its own: liquid that already enters the subcooler
swinging, as behind a cycling fan, swings by the condenser and not by the valve."""

COHERENCE = 0.5
BAND = (0.6, 1.7)
"""Multiples of the opening's frequency at which liquid moves with a regular cycle of the valve."""

BAND_COHERENCE = 0.7
BAND_LIQUID_SWING_K = 0.4
"""Within the band a share of half of the whole swing is no longer asked: fans and load may move
the liquid more than a fast cycle does, at other frequencies. What is left must follow closely."""

UNANSWERED_SWING = 0.08
UNANSWERED_K = 0.3
"""An opening that cycles by so much while the liquid moves by less than that: the thermistor is off
the pipe or the valve does not follow its command. Nobody can then say that the valve is quiet."""

PERIOD_AGREEMENT = 0.35
LEAST_REVERSALS = 8
"""Four throws there and back in ten minutes."""

SLOW_S = 240.0
"""Swings are taken about a moving mean over this time: load, fans and the start of a run move the
liquid more slowly than a valve hunts. At a period of 280 s five sixths of a swing are left."""

LOCAL_S = 100.0
LONG_LOCAL_S = 180.0
LONG_PERIOD_S = 200.0
LOCAL_SHARE = 0.5
LEAST_OPENING_SHARE = 0.5
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
    regularity, decay_ratio of the opening.
    per_sample: 1 hunting, 0 not, -1 cannot be judged, shape (n,). interval_s: between readings
    that are new; longer than the logging interval where a gateway repeats old ones.
    """

    block_start: TimeArray
    judged: BoolArray
    hunting: BoolArray
    period_s: FloatArray
    opening_swing: FloatArray
    liquid_swing_k: FloatArray
    regularity: FloatArray
    decay_ratio: FloatArray
    mean_opening: FloatArray
    per_sample: NDArray[np.int8]
    interval_s: float


@dataclass(frozen=True)
class _Blocks:
    """The span cut into blocks; ``row`` is the block of each sample.

    grid_s: uniform instants of each block, with ``slow`` and ``margin`` more on either side: the
    moving mean takes the first away, local deviations the second.
    """

    start: TimeArray
    row: IndexArray
    step_s: float
    slow: int
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
    interval_s = _refreshed_s(samples, timebase)
    if not count or interval_s >= BLIND_INTERVAL_S or np.isnan(interval_s):
        return _unjudged(blocks, interval_s)
    usable = settled(states)
    openings, full = _resample(blocks, timebase, opening, usable)
    liquid, entering, seen = _liquid(blocks, samples, timebase, usable, direction)
    enough = (full >= ENOUGH_OF_A_BLOCK) & (seen >= ENOUGH_OF_A_BLOCK)
    found, unanswered, measures = _judge(openings, liquid, blocks)
    enough &= ~unanswered
    own = _fast(liquid - entering, blocks)[:, blocks.margin : -blocks.margin]
    found &= _swing(own) >= OWN_SHARE * measures["liquid_swing_k"]
    hunting = enough & found
    judged = enough if interval_s <= FULL_SIGHT_INTERVAL_S else hunting
    blank = {name: np.where(judged, values, np.nan) for name, values in measures.items()}
    per_block = np.where(judged, hunting, -1).astype(np.int8)
    per_sample = per_block[blocks.row]
    return Hunting(
        blocks.start, judged, hunting, per_sample=per_sample, interval_s=interval_s, **blank
    )


def _refreshed_s(samples: Samples, timebase: Timebase) -> float:
    """Seconds between new readings of the slower liquid thermistor; NaN without two samples.

    The opening does not count: a valve that is left alone for minutes is no slow reading.
    """
    slowest = timebase.interval_s
    for side in ("liquid_temperature_indoor_side", "liquid_temperature_outdoor_side"):
        refresh_s = tb.refresh_s(samples.outdoor_or_nan(side), timebase)
        slowest = slowest if np.isnan(refresh_s) else max(slowest, refresh_s)
    return slowest


def _cut(samples: Samples, timebase: Timebase) -> _Blocks:
    number = samples.time.astype("datetime64[s]").astype(np.int64) // BLOCK_S
    blocks, row = np.unique(number, return_inverse=True)
    start = (blocks * BLOCK_S).astype("datetime64[s]").astype("datetime64[us]")
    step = max(FINEST_STEP_S, timebase.interval_s if len(samples) > 1 else BLOCK_S)
    steps = max(2, int(BLOCK_S // step))
    step = BLOCK_S / steps
    slow, margin = (max(1, round(width_s / 2 / step)) for width_s in (SLOW_S, LONG_LOCAL_S))
    wide = slow + margin
    offset = (start - samples.time[:1]) / np.timedelta64(1, "s")
    grid = offset[:, None] + (np.arange(-wide, steps + wide) + 0.5) * step
    return _Blocks(start, row, step, slow, margin, grid)


def _unjudged(blocks: _Blocks, interval_s: float) -> Hunting:
    count = blocks.start.size
    no = np.zeros(count, bool)
    nan = np.full(count, np.nan)
    per_sample = np.full(blocks.row.size, -1, np.int8)
    return Hunting(blocks.start, no, no, nan, nan, nan, nan, nan, nan, per_sample, interval_s)


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
    inside = _inside(blocks, out)
    return out, near.reshape(shape)[:, inside].mean(axis=1)


def _liquid(
    blocks: _Blocks,
    samples: Samples,
    timebase: Timebase,
    usable: BoolArray,
    direction: Direction,
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Leaving and entering liquid on the grids, and the share of each grid that is seen.

    Entering liquid that is not logged is taken as at rest.
    """
    indoor, indoor_share = _resample(
        blocks, timebase, samples.outdoor_or_nan("liquid_temperature_indoor_side"), usable
    )
    outdoor, outdoor_share = _resample(
        blocks, timebase, samples.outdoor_or_nan("liquid_temperature_outdoor_side"), usable
    )
    sign = np.bincount(blocks.row, weights=direction.sign, minlength=blocks.start.size)
    larger = outdoor.std(axis=1) > indoor.std(axis=1)
    at_outdoor = np.where(sign == 0, larger, sign < 0)
    leaving = np.where(at_outdoor[:, None], outdoor, indoor)
    entering = np.where(at_outdoor[:, None], indoor, outdoor)
    entering_share = np.where(at_outdoor, indoor_share, outdoor_share)
    entering = np.where((entering_share >= ENOUGH_OF_A_BLOCK)[:, None], entering, 0.0)
    return leaving, entering, np.where(at_outdoor, outdoor_share, indoor_share)


def _inside(blocks: _Blocks, grid: FloatArray) -> slice:
    """The columns of a full grid that lie in the block itself."""
    wide = blocks.slow + blocks.margin
    return slice(wide, grid.shape[1] - wide)


def _fast(values: FloatArray, blocks: _Blocks) -> FloatArray:
    """Values less their moving mean; ``slow`` columns fewer on either side."""
    level = values - values.mean(axis=1, keepdims=True)
    inner = level[:, blocks.slow : -blocks.slow]
    return np.asarray(inner - _moving_mean(level, 2 * blocks.slow + 1))


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
    openings: FloatArray, liquid: FloatArray, blocks: _Blocks
) -> tuple[BoolArray, BoolArray, dict[str, FloatArray]]:
    """Criteria on the full grids: who hunts, whose liquid does not answer, what was measured.

    Regularity is asked of the opening as it is, less a straight line: a moving mean taken away
    would make an oscillation of any step. The liquid, which load and fans move as well, is taken
    without its slow part.
    """
    within = slice(blocks.margin, -blocks.margin)
    fast_z, fast_t = _fast(openings, blocks), _fast(liquid, blocks)
    z, t = oscillation.detrend(openings[:, _inside(blocks, openings)]), fast_t[:, within]
    z_correlation = oscillation.autocorrelation(z)
    reliable = round(RELIABLE_LAGS * z.shape[1])
    z_regular = oscillation.regularity(z_correlation[:, :reliable])
    t_regular = oscillation.regularity(oscillation.autocorrelation(t, reliable))
    decay = oscillation.decay_ratio(z_correlation)
    slow = z_regular.period * blocks.step_s > LONG_PERIOD_S
    steady = _share(openings[:, blocks.slow : -blocks.slow], blocks, slow) >= LEAST_OPENING_SHARE
    in_band = _answers_in_band(z, t, z_regular.period)
    lasting = steady & (_share(fast_t, blocks, slow) >= LEAST_LIQUID_SHARE)
    z_swing, t_swing = _swing(z), _swing(t)
    with np.errstate(invalid="ignore"):
        regular = (z_regular.index > 1.0) & (z_regular.intervals >= 3)
        clear = regular & (z_regular.intervals >= MANY_INTERVALS)
        one_period = np.abs(np.log(z_regular.period / t_regular.period)) < PERIOD_AGREEMENT
        periodic = clear | (regular & (decay > 0.5) & one_period)
    amplitude = (z_swing >= OPENING_SWING) & (
        t_swing >= np.where(clear, CLEAR_LIQUID_SWING_K, LIQUID_SWING_K)
    )
    wild = (t_swing >= LARGE_SWING_K) & (_reversals(z) >= LEAST_REVERSALS)
    coherent = _follow(fast_z[:, within], t, z_regular.period) >= COHERENCE
    found = amplitude & coherent & lasting & (periodic | wild)
    steady_cycle = clear & (z_regular.intervals >= oscillation.INTERVALS - 1) & (decay > 0.5)
    found |= steady_cycle & steady & (z_swing >= OPENING_SWING) & in_band
    unanswered = clear & steady & (z_swing >= UNANSWERED_SWING) & (t_swing < UNANSWERED_K)
    return (
        found,
        unanswered,
        {
            "period_s": z_regular.period * blocks.step_s,
            "opening_swing": z_swing,
            "liquid_swing_k": t_swing,
            "regularity": z_regular.index,
            "decay_ratio": decay,
            "mean_opening": openings[:, _inside(blocks, openings)].mean(axis=1),
        },
    )


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


def _answers_in_band(
    opening: FloatArray, liquid: FloatArray, period_steps: FloatArray
) -> BoolArray:
    """Whether the liquid swings and follows at the opening's own frequency, shape (rows,)."""
    opening, liquid = (_band(values, period_steps) for values in (opening, liquid))
    swings = _swing(liquid) >= BAND_LIQUID_SWING_K
    return swings & (_follow(opening, liquid, period_steps) >= BAND_COHERENCE)


def _band(values: FloatArray, period_steps: FloatArray) -> FloatArray:
    """Rows with only what lies in ``BAND`` about each row's period."""
    cycles = scipy.fft.rfftfreq(values.shape[1])[None, :] * np.nan_to_num(period_steps)[:, None]
    inside = (cycles >= BAND[0]) & (cycles <= BAND[1])
    return np.asarray(
        scipy.fft.irfft(scipy.fft.rfft(values, axis=1) * inside, values.shape[1], axis=1)
    )


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
