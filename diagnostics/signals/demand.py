"""What the rooms ask for, against what the compressor delivers."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from diagnostics.channels import CALLS
from diagnostics.plant import Plant
from diagnostics.samples import FloatArray, Samples
from diagnostics.signals.state import States
from diagnostics.signals.timebase import BoolArray

COOL = CALLS.index("cool")
HEAT = CALLS.index("heat")

SHORT_K = 1.0
"""A room is short when it is this far on the wrong side of its setpoint: a thermostat's dead band
and its sensor make up about 1 K (common practice, no source)."""

LONGEST_GAP_S = 900.0
"""Over a longer gap between samples nobody knows that a room stayed short."""


@dataclass(frozen=True)
class Demand:
    """Demand and delivery, each shape (n,); NaN where the channels needed are missing.

    share: capacity-weighted share of the indoor units asking; cooling_share and heating_share are
    its parts. shortfall_k: capacity-weighted mean distance of rooms from setpoint on the wrong
    side, over asking units. unmet_s: capacity-weighted mean time since an asking unit's room was
    last met. imbalance_w: cooling less heating capacity asked. speed_share: speed over maximum.
    """

    share: FloatArray
    cooling_share: FloatArray
    heating_share: FloatArray
    shortfall_k: FloatArray
    unmet_s: FloatArray
    imbalance_w: FloatArray
    speed_share: FloatArray


def compare(samples: Samples, states: States, plant: Plant) -> Demand:
    """Demand of the indoor units beside the speed of the compressor.

    A unit asks when its demand is 1; where demand is not logged, when its call is cool or heat.
    What an asking unit wants is its call; without one, the pure state of the system; without that,
    the side of the setpoint its room is on.
    """
    units = len(plant.indoor)
    capacity_w = np.array([unit.cooling_capacity_w for unit in plant.indoor])
    asking = _asking(samples, units)
    known = ~np.isnan(asking)
    asks = asking > 0
    excess_k = samples.indoor_or_nan("room_temperature", units) - samples.indoor_or_nan(
        "setpoint", units
    )
    cools, heats = _wish(samples, states, asks, excess_k)
    total_w, asks_w, cools_w, heats_w = (capacity_w @ x for x in (known, asks, cools, heats))
    wrong_side_k = np.where(cools, excess_k, np.where(heats, -excess_k, np.nan))
    measured = ~np.isnan(wrong_side_k)
    short_k = np.maximum(wrong_side_k, 0.0, out=np.zeros(measured.shape), where=measured)
    unmet_s = _time_short(samples.seconds(), short_k >= SHORT_K)
    measured_w = capacity_w @ measured
    return Demand(
        share=_ratio(asks_w, total_w),
        cooling_share=_ratio(cools_w, total_w),
        heating_share=_ratio(heats_w, total_w),
        shortfall_k=_ratio(capacity_w @ short_k, measured_w),
        unmet_s=_ratio(capacity_w @ unmet_s, measured_w),
        imbalance_w=np.where(total_w > 0, cools_w - heats_w, np.nan),
        speed_share=samples.outdoor_or_nan("compressor_speed") / plant.compressor_max_speed_rps,
    )


def _asking(samples: Samples, units: int) -> FloatArray:
    """1 asking, 0 not, NaN not known, shape (units, n)."""
    demand = samples.indoor_or_nan("demand", units)
    call = samples.indoor_or_nan("call", units)
    wants = np.where(np.isnan(call), np.nan, (call == COOL) | (call == HEAT))
    return np.where(np.isnan(demand), wants, demand)


def _wish(
    samples: Samples, states: States, asks: BoolArray, excess: FloatArray
) -> tuple[BoolArray, BoolArray]:
    """Which asking units want cooling and which heating, shape (units, n) each."""
    call = samples.indoor_or_nan("call", asks.shape[0])
    cools, heats = asks & (call == COOL), asks & (call == HEAT)
    # A unit that asks while its call says off or fan is logged inconsistently: treat as no call.
    unsaid = asks & ~cools & ~heats
    if unsaid.any():
        side = np.where(states.pure == 0, excess, states.pure)
        cools |= unsaid & (side > 0)
        heats |= unsaid & (side < 0)
    return cools, heats


def _ratio(part: FloatArray, total: FloatArray) -> FloatArray:
    out = np.full(total.shape, np.nan)
    np.divide(part, total, out=out, where=total > 0)
    return out


def _time_short(seconds: FloatArray, short: BoolArray) -> FloatArray:
    """Time [s] each unit has been short without a break, shape (units, n)."""
    if not seconds.size:
        return np.zeros(short.shape)
    gap = np.diff(seconds, prepend=seconds[0]) > LONGEST_GAP_S
    held = np.where(short & ~gap, -np.inf, seconds)
    # A room is taken as short from the last sample at which it was not.
    since = np.maximum.accumulate(held, axis=1)
    since[np.isneginf(since)] = seconds[0]
    return np.where(short, seconds - since, 0.0)
