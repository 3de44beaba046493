"""Which way liquid runs through the subcooler.

The main stream leaves the subcooler colder than it came, so with the valve open the warmer side is
upstream. One reading proves little: with a standard error of 0.5 K a sensor, a difference of 1 K
has the wrong sign 8 % of the time. Two things make small differences usable: the offset between
the two thermistors, learned while the valve is closed, and accumulation over minutes in a hidden
Markov model of two directions (Rabiner, Proc. IEEE 77(2):257-286, 1989).

Only the sign of the drop counts, not its size: a thin stream is cooled by 20 K as easily as a
thick one by 3 K. A sample's evidence is the log-odds of a positive drop under a flat prior,
``log(Phi(d / sigma) / Phi(-d / sigma))``, capped, so one wild reading cannot decide.
No published figure exists for this task.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy
from numpy.typing import NDArray

from diagnostics.samples import FloatArray, Samples
from diagnostics.signals import timebase as tb
from diagnostics.signals.state import State, States
from diagnostics.signals.timebase import BoolArray, Timebase
from diagnostics.signals.valve import DEAD_BAND


@dataclass(frozen=True)
class Tuning:
    """Constants of the model; defaults are common practice tuned on simulated systems.

    noise_k: standard deviation of d about its sign, sensor noise and passing transients.
    prior_offset_k: standard deviation of the two thermistors' difference before anything is
    learned (two of +-0.5 K class). cap: largest log-odds of one independent reading.
    memory_s: readings closer than this repeat each other. turns_per_hour: expected reversals in
    simultaneous operation. decisive: posterior from which an answer is given. pure_bias:
    log-odds per reading for the direction that a pure mode fixes physically. special_bias: the
    same per independent reading for to_indoor in defrost and oil return, when the outdoor coil
    usually condenses; the sensors may outvote it.
    open_lag_s, close_lag_s: after the valve opens (closes) until the pipe shows it.
    """

    noise_k: float = 0.35
    prior_offset_k: float = 0.7
    cap: float = 4.0
    memory_s: float = 30.0
    turns_per_hour: float = 4.0
    decisive: float = 0.97
    pure_bias: float = 12.0
    special_bias: float = 1.0
    open_lag_s: float = 20.0
    close_lag_s: float = 240.0


DEFAULT = Tuning()

OFFSET_LARGEST_K = 3.0
"""Beyond this the difference with a closed valve is no offset but a valve that leaks."""
PIPE_LOSS_K = 0.15
PIPE_LOSS_SIGMA_K = 0.2
"""Heat lost by the pipe between the thermistors, which looks like an offset along the flow."""

STANDSTILL_S = 3600.0
STANDSTILL_SIGMA_K = 0.4
"""After an hour's rest both thermistors are near the air of the machine, if not exactly."""


@dataclass(frozen=True)
class Direction:
    """Direction of liquid flow per sample, shape (n,) where not a number.

    sign: +1 to_indoor, -1 to_outdoor, 0 undetermined or not running. probability_to_indoor: NaN
    while not running. valve_open: the valve passes refrigerant, after its lag. offset_k,
    offset_sigma_k: learned d with the valve closed, d = T_outdoor_side - T_indoor_side.
    drop_k: d less the offset. contradiction: log-odds of the sensors' evidence against the
    direction a pure mode fixes, NaN in other modes or without evidence.
    """

    sign: NDArray[np.int8]
    probability_to_indoor: FloatArray
    valve_open: BoolArray
    offset_k: float
    offset_sigma_k: float
    drop_k: FloatArray
    contradiction: FloatArray


def infer(
    samples: Samples, timebase: Timebase, states: States, tuning: Tuning = DEFAULT
) -> Direction:
    """Direction of liquid flow for every sample."""
    d_k = samples.outdoor_or_nan("liquid_temperature_outdoor_side") - samples.outdoor_or_nan(
        "liquid_temperature_indoor_side"
    )
    opening = tb.hold(samples.outdoor_or_nan("subcooler_valve"), timebase)
    passing = opening > DEAD_BAND
    offset_k, offset_sigma_k = learn_offset(
        d_k, passing | np.isnan(opening), timebase, states, tuning
    )
    drop_k = d_k - offset_k
    shows = states.running & tb.near(passing, timebase, 0.0, tuning.open_lag_s)
    evidence = np.where(shows, _evidence(drop_k, offset_sigma_k, tuning), np.nan)
    weight = min(1.0, timebase.interval_s / tuning.memory_s) if len(timebase) > 1 else 1.0
    seen = weight * np.nan_to_num(evidence)
    turn = _turn_probability(timebase, states, tuning)
    prior = tuning.pure_bias * states.pure + weight * tuning.special_bias * _special(states)
    log_odds = smooth(seen + prior, turn)
    sign = np.zeros(len(timebase), np.int8)
    limit = np.log(tuning.decisive / (1 - tuning.decisive))
    sign[states.running & (log_odds > limit)] = 1
    sign[states.running & (log_odds < -limit)] = -1
    probability = np.where(states.running, 1 / (1 + np.exp(-np.clip(log_odds, -40, 40))), np.nan)
    against = np.where(states.pure != 0, -states.pure * evidence, np.nan)
    valve_open = states.running & tb.lag(passing, timebase, tuning.open_lag_s)
    return Direction(sign, probability, valve_open, offset_k, offset_sigma_k, drop_k, against)


def learn_offset(
    d_k: FloatArray,
    maybe_passing: BoolArray,
    timebase: Timebase,
    states: States,
    tuning: Tuning = DEFAULT,
) -> tuple[float, float]:
    """Offset of the outdoor-side thermistor against the other [K] and its standard uncertainty.

    Medians of d with the valve long closed in either pure mode, where liquid surely flows, and
    after a long rest; weighted by inverse variance together with the prior. Where they disagree
    by more than their uncertainties, as with a valve that leaks, the result is widened by the
    Birge ratio. In simultaneous operation liquid may stand still, and d means nothing then.
    """
    closed = states.running & tb.lag(~maybe_passing, timebase, tuning.close_lag_s)
    resting = tb.lag(~states.running, timebase, STANDSTILL_S)
    value, variance = [0.0], [tuning.prior_offset_k**2]
    for where, loss_k, sigma_k in (
        (closed & (states.pure > 0), PIPE_LOSS_K, PIPE_LOSS_SIGMA_K),
        (closed & (states.pure < 0), -PIPE_LOSS_K, PIPE_LOSS_SIGMA_K),
        (resting, 0.0, STANDSTILL_SIGMA_K),
    ):
        median, scatter_k = _median(d_k[where], timebase.interval_s)
        if abs(median - loss_k) <= OFFSET_LARGEST_K:
            value.append(median - loss_k)
            variance.append(scatter_k**2 + sigma_k**2)
    weight = 1 / np.array(variance)
    mean = float(weight @ np.array(value) / weight.sum())
    # The prior is no witness: a true offset of 2 K is rare, not a contradiction.
    misfit = float(weight[1:] @ (np.array(value[1:]) - mean) ** 2) / max(1, len(value) - 2)
    return mean, float(np.sqrt(max(1.0, misfit) / weight.sum()))


def _median(values: FloatArray, interval_s: float) -> tuple[float, float]:
    """Median [K] and its standard error [K]; NaN without values."""
    values = values[~np.isnan(values)]
    if not values.size:
        return float("nan"), float("nan")
    median = float(np.median(values))
    spread_k = max(1.4826 * float(np.median(np.abs(values - median))), 0.1)
    independent = max(values.size * interval_s / 300.0, 0.1)
    # 1.25: standard error of a median against that of a mean.
    return median, 1.25 * spread_k / np.sqrt(independent)


def _evidence(drop_k: FloatArray, offset_sigma_k: float, tuning: Tuning) -> FloatArray:
    """Log-odds of flow to_indoor from one reading of the offset-corrected difference."""
    # An unknown offset is shared by all readings, so time does not average it away: what it
    # explains at one standard deviation is set aside before anything is accumulated.
    beyond = np.sign(drop_k) * np.maximum(np.abs(drop_k) - offset_sigma_k, 0.0)
    z = beyond / tuning.noise_k
    odds = scipy.special.log_ndtr(z) - scipy.special.log_ndtr(-z)
    return np.asarray(np.clip(odds, -tuning.cap, tuning.cap))


def _special(states: States) -> BoolArray:
    return np.asarray((states.state == State.DEFROST) | (states.state == State.OIL_RETURN))


def _turn_probability(timebase: Timebase, states: States, tuning: Tuning) -> FloatArray:
    """Probability that the direction differs from that of the sample before.

    One half, nothing known, across a stop and where defrost or oil return begins or ends.
    """
    steps_s = np.diff(timebase.seconds, prepend=timebase.seconds[:1] - 1.0)
    turn = 0.5 * (1 - np.exp(-2 * tuning.turns_per_hour / 3600 * steps_s))
    special, broken = _special(states), ~states.running
    broken[1:] |= ~states.running[:-1] | (special[1:] != special[:-1])
    return np.where(broken, 0.5, turn)


def smooth(evidence: FloatArray, turn: FloatArray) -> FloatArray:
    """Posterior log-odds of state + against state - given all evidence (forward-backward).

    evidence: log-odds of each sample alone, (n,). turn: probability of the other state than the
    sample before, (n,); the first is not used.
    Forward and backward run as one prefix product of 2x2 matrices, in log2(n) array passes.
    """
    if not evidence.size:
        return np.zeros(0)
    onward = np.stack([evidence, evidence[::-1]])
    step = np.full_like(onward, 0.5)
    step[0, 1:], step[1, 1:] = turn[1:], turn[:0:-1]
    # Predict with the turn, then weigh with the evidence; scaled so that no product overflows.
    plus, minus = np.exp(np.minimum(onward, 0.0)), np.exp(-np.maximum(onward, 0.0))
    first, other = 1 - step, step
    products = _prefix_products((plus * first, plus * other, minus * other, minus * first))
    a, b, c, d = products
    filtered = np.log(a + b) - np.log(c + d)
    backward_predicted = (filtered[1] - onward[1])[::-1]
    return np.asarray(filtered[0] + backward_predicted)


_Matrices = tuple[FloatArray, FloatArray, FloatArray, FloatArray]


def _times(later: _Matrices, earlier: _Matrices) -> _Matrices:
    """Elementwise product of 2x2 matrices, scaled to a largest element of 1."""
    a, b, c, d = later
    e, f, g, h = earlier
    w, x, y, z = a * e + b * g, a * f + b * h, c * e + d * g, c * f + d * h
    # The sum is as good a scale as the maximum and cheaper; elements are never negative.
    scale = 1.0 / (w + x + y + z)
    return w * scale, x * scale, y * scale, z * scale


def _prefix_products(matrices: _Matrices) -> _Matrices:
    """Products of each matrix with all before it, along the last axis (Blelloch 1990 scan)."""
    n = matrices[0].shape[-1]
    if n == 1:
        return matrices
    even = n - n % 2
    pairs = _times(
        _each(matrices, slice(1, even, 2)),
        _each(matrices, slice(0, even, 2)),
    )
    done = _prefix_products(pairs)
    out = tuple(np.empty_like(element) for element in matrices)
    later = _times(_each(matrices, slice(2, None, 2)), _each(done, slice(0, (n - 1) // 2)))
    for element, start, at_odd, at_even in zip(out, matrices, done, later, strict=True):
        element[..., 0] = start[..., 0]
        element[..., 1::2] = at_odd
        element[..., 2::2] = at_even
    return out[0], out[1], out[2], out[3]


def _each(matrices: _Matrices, cut: slice) -> _Matrices:
    a, b, c, d = matrices
    return a[..., cut], b[..., cut], c[..., cut], d[..., cut]
