"""What the rooms ask for, and how far they are from it."""

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


@dataclass(frozen=True)
class Demand:
    """Demand, each shape (n,); NaN where the channels needed are missing.

    share: capacity-weighted share of the indoor units asking. shortfall_k: capacity-weighted mean
    distance of rooms from setpoint on the wrong side, over asking units.
    """

    share: FloatArray
    shortfall_k: FloatArray


def compare(samples: Samples, states: States, plant: Plant) -> Demand:
    """Demand of the indoor units.

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
    wrong_side_k = np.where(cools, excess_k, np.where(heats, -excess_k, np.nan))
    measured = ~np.isnan(wrong_side_k)
    short_k = np.maximum(wrong_side_k, 0.0, out=np.zeros(measured.shape), where=measured)
    return Demand(
        share=_ratio(capacity_w @ asks, capacity_w @ known),
        shortfall_k=_ratio(capacity_w @ short_k, capacity_w @ measured),
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
