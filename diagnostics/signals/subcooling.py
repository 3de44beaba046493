"""Subcooling at the right point, and what a reading at the wrong one would have shown.

Subcooling = bubble temperature at discharge pressure less the temperature of the liquid upstream of
the subcooler. Downstream it includes the subcooler's own work, which makes an undercharged system
look normal and a normal one overcharged. The bubble point counts, not the dew point: they differ
by the glide, 0.1 K for R-410A and about 1.5 K for R-454B.

In heating the liquid has passed the indoor valves, so its pressure is below condensing pressure;
the number is still taken against condensing saturation (common practice, no source), less the
static head of the liquid column where elevations are known.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from diagnostics.channels import CALLS
from diagnostics.plant import Plant
from diagnostics.refrigerant import Fluid
from diagnostics.samples import FloatArray, Samples
from diagnostics.signals.direction import Direction
from diagnostics.signals.state import State, States
from diagnostics.signals.timebase import BoolArray

GRAVITY_M_S2 = 9.806_65


@dataclass(frozen=True)
class Instruments:
    """Standard uncertainties of the instruments.

    Transducer: 1 % of a 4.15 MPa span as the limit of a rectangular distribution, thermistor:
    0.5 K the same way (JCGM 100:2008, 4.3.7). elevation_m: how far off level the rooms may be
    where the manifest does not say. All usual for built-in sensors; common practice, no source.
    """

    pressure_pa: float = 41.5e3 / 3**0.5
    temperature_k: float = 0.5 / 3**0.5
    elevation_m: float = 3.0


USUAL = Instruments()

SHARED_OFFSET_K = 1.0
"""A larger difference than this is a fault of one thermistor, not the class of both."""


@dataclass(frozen=True)
class Subcooling:
    """Subcooling per sample, shape (n,); NaN where direction or a reading is missing.

    upstream_k: at the point that counts. other_k: at the other one. sigma_k: standard uncertainty
    of upstream_k. at_saturation: within one standard uncertainty of zero, or below it, so
    probably two-phase. static_head_pa: pressure the liquid gained
    (below zero: lost) on its way from the rooms, 0 where it does not come from there.
    """

    upstream_k: FloatArray
    other_k: FloatArray
    sigma_k: FloatArray
    at_saturation: BoolArray
    static_head_pa: FloatArray


def measure(
    samples: Samples,
    direction: Direction,
    states: States,
    fluid: Fluid,
    plant: Plant,
    instruments: Instruments = USUAL,
) -> Subcooling:
    """Subcooling upstream of the subcooler and at the other point."""
    # With the valve closed both thermistors read one liquid: what they differ by then is shared
    # between them, which halves the variance of either.
    share_k = 0.5 * np.clip(direction.offset_k, -SHARED_OFFSET_K, SHARED_OFFSET_K)
    outdoor_side_k = samples.outdoor_or_nan("liquid_temperature_outdoor_side") - share_k
    indoor_side_k = samples.outdoor_or_nan("liquid_temperature_indoor_side") + share_k
    to_indoor, to_outdoor = direction.sign > 0, direction.sign < 0
    told = (to_indoor | to_outdoor) & states.running & (states.state != State.DEFROST)
    upstream_t_k = np.where(told, np.where(to_indoor, outdoor_side_k, indoor_side_k), np.nan)
    other_t_k = np.where(told, np.where(to_indoor, indoor_side_k, outdoor_side_k), np.nan)
    discharge_pa = samples.outdoor_or_nan("discharge_pressure")

    rho = fluid.rho_liquid_kg_m3(upstream_t_k, discharge_pa)
    rise_m = mean_elevation_m(samples, plant)
    head_pa = np.where(to_outdoor, np.nan_to_num(rho * GRAVITY_M_S2 * rise_m), 0.0)
    bubble_k = fluid.t_bubble_k(discharge_pa + head_pa)
    level_m = np.where(to_outdoor & np.isnan(rise_m), instruments.elevation_m, 0.0)
    u_pressure_pa = np.hypot(instruments.pressure_pa, np.nan_to_num(rho) * GRAVITY_M_S2 * level_m)
    sigma_k = np.sqrt(
        (fluid.dt_bubble_dp_k_pa(discharge_pa + head_pa) * u_pressure_pa) ** 2
        + instruments.temperature_k**2
        + fluid.saturation_floor_k**2
    )
    upstream_k = bubble_k - upstream_t_k
    sigma_k = np.where(np.isnan(upstream_k), np.nan, sigma_k)
    # Twice the uncertainty would call every low-pressure day flash gas, for there a transducer's
    # error weighs most.
    at_saturation = upstream_k < sigma_k
    return Subcooling(upstream_k, bubble_k - other_t_k, sigma_k, at_saturation, head_pa)


def mean_elevation_m(samples: Samples, plant: Plant) -> FloatArray:
    """Height of the rooms that condense above the outdoor unit [m], weighted by capacity, (n,).

    Rooms asking for heat; where none is known to ask, all of them. NaN where no elevation of
    theirs is known.
    """
    elevation_m = np.array([u.elevation_m for u in plant.indoor], dtype=np.float64)
    known = ~np.isnan(elevation_m)
    n = len(samples)
    if not known.any():
        return np.full(n, np.nan)
    capacity = np.where(known, [u.cooling_capacity_w for u in plant.indoor], 0.0)
    moment = capacity * np.nan_to_num(elevation_m)
    everyone = moment.sum() / capacity.sum()
    if "call" not in samples.indoor:
        return np.full(n, everyone)
    heating = (samples.indoor["call"] == CALLS.index("heat")).astype(np.float64)
    asked = capacity @ heating
    mean = np.divide(moment @ heating, asked, out=np.full(n, everyone), where=asked > 0)
    return np.asarray(mean)
