"""Removes what cannot be a measurement: impossible values and pairs, frozen signals, lone spikes.

A bad cell becomes NaN and takes nothing else with it. Gaps stay gaps.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

from diagnostics.channels import INDOOR_BY_NAME, OUTDOOR_BY_NAME, Channel, Quantity
from diagnostics.samples import FloatArray, Samples
from diagnostics.signals import timebase as tb
from diagnostics.signals.timebase import BoolArray, Timebase

HAMPEL_HALF_WIDTH = 3
HAMPEL_SIGMAS = 6.0
MAD_TO_SIGMA = 1.4826
"""Scales the median absolute deviation to a standard deviation of normal noise (Hampel 1974)."""

SPIKE_FLOOR = {Quantity.TEMPERATURE: 3.0, Quantity.PRESSURE: 60e3}
"""Smallest departure from both neighbours called a spike [K, Pa]: far above sensor noise, and a
flat neighbourhood (deviation zero) must not make a spike of the last digit."""
SPIKE_RATE = {Quantity.TEMPERATURE: 0.5, Quantity.PRESSURE: 10e3}
"""Fastest true change [K/s, Pa/s]: with slow logging a short real event, such as one pulse of the
subcooler's valve, fills a single sample and must not be taken for a spike (judgement, no source).
"""

FLAT_S = {
    "discharge_pressure": 1800.0,
    "suction_pressure": 1800.0,
    "discharge_temperature": 3600.0,
    "suction_temperature": 3600.0,
    "liquid_temperature_outdoor_side": 3600.0,
    "liquid_temperature_indoor_side": 3600.0,
    "subcooler_gas_temperature": 3600.0,
    "outdoor_coil_temperature": 3600.0,
    "outdoor_air_temperature": 6 * 3600.0,
}
"""Running time [s] without any change of the last digit after which a signal counts as frozen.
Pressures move within seconds, pipes within a minute, outdoor air hardly at night (judgement, no
source). Openings, targets and rooms may rightly stand still and are not tested."""

FLAT_MIN_SAMPLES = 8
MOVES_K = 1.0
"""The other channels must have moved by this much (or 2 % of a pressure) meanwhile."""

CROSSED_PA = 100e3
"""A running compressor does not hold its suction so far above its discharge: the two are swapped,
or one is far wrong, and nobody can say which. Offsets of transducers stay below (judgement, no
source)."""


@dataclass(frozen=True)
class Cleaned:
    """What is left of the samples, and what was found wrong.

    samples: bad cells are NaN. flatline: channel -> True while frozen, shape (n,), outdoor
    channels of FLAT_S that were logged.
    """

    samples: Samples
    flatline: Mapping[str, BoolArray]


def clean(samples: Samples) -> Cleaned:
    """``samples`` without impossible values, frozen stretches and spikes."""
    timebase = tb.of(samples)
    outdoor = {n: _in_range(OUTDOOR_BY_NAME[n], v) for n, v in samples.outdoor.items()}
    indoor = {n: _in_range(INDOOR_BY_NAME[n], v) for n, v in samples.indoor.items()}
    outdoor |= _uncrossed(outdoor)
    flatline = _flatlines(outdoor, timebase)
    for name in outdoor:
        bad = _spikes(outdoor[name], OUTDOOR_BY_NAME[name].quantity, timebase.interval_s)
        if name in flatline:
            bad = bad | flatline[name]
        if bad.any():
            outdoor[name] = np.where(bad, np.nan, outdoor[name])
    return Cleaned(Samples(samples.time, outdoor, indoor), flatline)


def _in_range(channel: Channel, values: FloatArray) -> FloatArray:
    outside = (values < channel.low) | (values > channel.high)
    return np.where(outside, np.nan, values) if outside.any() else values


def _uncrossed(outdoor: Mapping[str, FloatArray]) -> dict[str, FloatArray]:
    """Both pressures without the instants at which they are the wrong way round."""
    pair = {name: outdoor.get(name) for name in ("suction_pressure", "discharge_pressure")}
    low, high, speed = *pair.values(), outdoor.get("compressor_speed")
    if low is None or high is None or speed is None:
        return {}
    crossed = (speed > 0) & (low > high + CROSSED_PA)
    if not crossed.any():
        return {}
    return {name: np.where(crossed, np.nan, outdoor[name]) for name in pair}


def _flatlines(outdoor: Mapping[str, FloatArray], timebase: Timebase) -> dict[str, BoolArray]:
    """Frozen stretches: the compressor runs, others move, the signal keeps its last digit."""
    speed = outdoor.get("compressor_speed")
    tested = {name: values for name, values in outdoor.items() if name in FLAT_S}
    flat = {name: np.zeros(len(timebase), bool) for name in tested}
    if speed is None or len(timebase) < FLAT_MIN_SAMPLES:
        return flat
    interval_s = timebase.interval_s
    ran = np.concatenate(([0.0], np.cumsum(np.where(speed > 0, interval_s, 0.0))))
    for name, values in tested.items():
        for start, end in _long_runs(values, ran, FLAT_S[name]):
            if _others_move(tested, name, slice(start, end)):
                flat[name][start:end] = True
    return flat


def _long_runs(values: FloatArray, ran_s: FloatArray, limit_s: float) -> Iterator[tuple[int, int]]:
    """Runs of one value that last longer, in running time, than the limit; holes allowed."""
    kept = np.flatnonzero(~np.isnan(values))
    begin, count = tb.run_lengths(values[kept])
    end = begin + count
    long = count >= FLAT_MIN_SAMPLES
    for first, last in zip(kept[begin[long]], kept[end[long] - 1], strict=True):
        if ran_s[last + 1] - ran_s[first] > limit_s:
            yield int(first), int(last) + 1


def _others_move(tested: Mapping[str, FloatArray], name: str, cut: slice) -> bool:
    moving = [_span(other, values[cut]) for other, values in tested.items() if other != name]
    return any(moving)


def _span(name: str, values: FloatArray) -> bool:
    present = values[~np.isnan(values)]
    if present.size < FLAT_MIN_SAMPLES:
        return False
    low, high = np.quantile(present, [0.05, 0.95])
    pressure = OUTDOOR_BY_NAME[name].quantity is Quantity.PRESSURE
    return bool(high - low > (0.02 * high if pressure else MOVES_K))


def _spikes(values: FloatArray, quantity: Quantity, interval_s: float) -> BoolArray:
    """Hampel's identifier on the few samples that jump away from both neighbours and back."""
    spike = np.zeros(values.size, bool)
    width = 2 * HAMPEL_HALF_WIDTH + 1
    if quantity not in SPIKE_FLOOR or values.size < width:
        return spike
    floor = max(SPIKE_FLOOR[quantity], SPIKE_RATE[quantity] * interval_s)
    before, after = values[1:-1] - values[:-2], values[1:-1] - values[2:]
    lone = (np.abs(before) > floor) & (np.abs(after) > floor) & (before * after > 0)
    candidate = np.flatnonzero(lone) + 1
    if not candidate.size:
        return spike
    start = np.clip(candidate - HAMPEL_HALF_WIDTH, 0, values.size - width)
    around = sliding_window_view(values, width)[start]
    median = np.nanmedian(around, axis=1)
    deviation = np.nanmedian(np.abs(around - median[:, None]), axis=1)
    limit = np.maximum(HAMPEL_SIGMAS * MAD_TO_SIGMA * deviation, floor)
    spike[candidate] = np.abs(values[candidate] - median) > limit
    return spike
