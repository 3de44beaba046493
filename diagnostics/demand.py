"""What the rooms ask for, against what the compressor delivers."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from diagnostics.channels import CALLS
from diagnostics.plant import Plant
from diagnostics.samples import FloatArray, Samples
from diagnostics.state import States
from diagnostics.timebase import BoolArray

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
    capacity = np.array([unit.cooling_capacity_w for unit in plant.indoor])[:, None]
    asking = _asking(samples, units)
    known = ~np.isnan(asking)
    asks = known & (asking > 0)
    cools, heats = _wish(samples, states, asks)
    total = (capacity * known).sum(axis=0)
    excess = samples.indoor_or_nan("room_temperature", units) - samples.indoor_or_nan(
        "setpoint", units
    )
    short_k = np.where(cools, np.maximum(excess, 0.0), np.where(heats, np.maximum(-excess, 0.0), 0))
    measured = (cools | heats) & ~np.isnan(excess)
    weight = capacity * measured
    unmet = _time_short(samples.seconds(), measured & (short_k >= SHORT_K))
    return Demand(
        share=_mean(capacity * asks, total),
        cooling_share=_mean(capacity * cools, total),
        heating_share=_mean(capacity * heats, total),
        shortfall_k=_mean(np.where(measured, short_k, 0.0) * weight, weight.sum(axis=0)),
        unmet_s=_mean(unmet * weight, weight.sum(axis=0)),
        imbalance_w=np.where(total > 0, (capacity * cools - capacity * heats).sum(axis=0), np.nan),
        speed_share=samples.outdoor_or_nan("compressor_speed") / plant.compressor_max_speed_rps,
    )


def _asking(samples: Samples, units: int) -> FloatArray:
    """1 asking, 0 not, NaN not known, shape (units, n)."""
    demand = samples.indoor_or_nan("demand", units)
    call = samples.indoor_or_nan("call", units)
    wants = np.where(np.isnan(call), np.nan, (call == COOL) | (call == HEAT))
    return np.where(np.isnan(demand), wants, demand)


def _wish(samples: Samples, states: States, asks: BoolArray) -> tuple[BoolArray, BoolArray]:
    """Which asking units want cooling and which heating, shape (units, n) each."""
    units = asks.shape[0]
    call = samples.indoor_or_nan("call", units)
    excess = samples.indoor_or_nan("room_temperature", units) - samples.indoor_or_nan(
        "setpoint", units
    )
    # A unit that asks while its call says off or fan is logged inconsistently: treat as no call.
    side = np.where((call == COOL) | (call == HEAT), np.where(call == COOL, 1.0, -1.0), 0.0)
    side = np.where(side == 0, states.pure[None, :], side)
    side = np.where(side == 0, np.sign(np.nan_to_num(excess)), side)
    return asks & (side > 0), asks & (side < 0)


def _mean(parts: FloatArray, total: FloatArray) -> FloatArray:
    return np.divide(parts.sum(axis=0), total, out=np.full(total.shape, np.nan), where=total > 0)


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
