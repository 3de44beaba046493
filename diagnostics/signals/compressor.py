"""Refrigerant mass flow through the compressor, by the volumetric model.

``displacement * speed * suction density * volumetric efficiency``: a manifest names no coefficients
of a compressor's map, so the efficiency is a generic one and the bounds are wide.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from diagnostics.refrigerant import Fluid
from diagnostics.samples import FloatArray

EFFICIENCY_AT_RATIO_2 = 0.95
EFFICIENCY_FALL_PER_RATIO = 0.02
LEAKAGE_SPEED_RPS = 30.0
LEAKAGE_AT_STANDSTILL = 0.20
"""Inverter scroll 0.90-0.98 at pressure ratio 2 to 3 and 0.02 less per unit of ratio; below about
30 rev/s internal leakage takes it to 0.75-0.90. Common practice, no source."""

RATIO_LIMITS = (1.0, 12.0)

FLOW_BAND = 0.17
"""Relative half width (95 %) of a flow from a generic volumetric efficiency at steady state with a
superheated suction: +-10 to 15 % (common practice, no source), a swept volume that the manifest
gives a few percent wrong, and 1 % of a suction transducer's span, 2 % of the density."""

LOW_SPEED_BAND = 0.15
"""What the unknown leakage adds to the band as the speed falls to zero; common practice."""

WET_SUCTION_BAND = 0.20
"""What a suction at saturation adds: drops of liquid weigh more than the gas whose density is
taken, and how many there are is not measured."""

ASSUMED_SUPERHEAT_K = 5.0
"""Suction superheat where no suction temperature is logged (usual range 0 to 10 K, 2 % of density
each way)."""


@dataclass(frozen=True)
class CompressorFlow:
    """Mass flow of all compressors [kg/s] with 95 % bounds, each shape (n,); NaN while off."""

    flow_kg_s: FloatArray
    low_kg_s: FloatArray
    high_kg_s: FloatArray


@dataclass(frozen=True)
class SuctionGas:
    """What the volumetric model needs: K, Pa, rev/s, each shape (n,); temperature may be NaN."""

    speed_rps: FloatArray
    suction_pressure_pa: FloatArray
    discharge_pressure_pa: FloatArray
    suction_temperature_k: FloatArray


def volumetric_efficiency(pressure_ratio: FloatArray, speed_rps: FloatArray) -> FloatArray:
    """Generic volumetric efficiency of an inverter scroll or rotary compressor.

    Falls with the pressure ratio, and below ``LEAKAGE_SPEED_RPS`` with the speed.
    """
    ratio = np.clip(pressure_ratio, *RATIO_LIMITS)
    slow = np.clip(1.0 - speed_rps / LEAKAGE_SPEED_RPS, 0.0, 1.0)
    return np.asarray(
        EFFICIENCY_AT_RATIO_2
        - EFFICIENCY_FALL_PER_RATIO * (ratio - 2.0)
        - LEAKAGE_AT_STANDSTILL * slow
    )


def volumetric_flow(
    displacement_m3: float, gas: SuctionGas, fluid: Fluid, efficiency: FloatArray | float
) -> FloatArray:
    """Mass flow [kg/s]: displacement per revolution * speed * suction density * efficiency."""
    density = fluid.rho_vapour_kg_m3(gas.suction_pressure_pa, gas.suction_temperature_k)
    return np.asarray(displacement_m3 * gas.speed_rps * density * efficiency)


def estimate(displacement_m3: float, gas: SuctionGas, fluid: Fluid) -> CompressorFlow:
    """Mass flow with bounds from the generic volumetric model, shape (n,).

    displacement_m3: swept volume per revolution of all compressors together.
    """
    dew = fluid.t_dew_k(gas.suction_pressure_pa)
    unknown = np.isnan(gas.suction_temperature_k)
    assumed = np.where(unknown, dew + ASSUMED_SUPERHEAT_K, gas.suction_temperature_k)
    # A gas below its dew point does not exist: an erring thermistor or drops of liquid.
    temperature = np.maximum(assumed, dew)
    filled = SuctionGas(
        gas.speed_rps, gas.suction_pressure_pa, gas.discharge_pressure_pa, temperature
    )
    ratio = gas.discharge_pressure_pa / gas.suction_pressure_pa
    flow = volumetric_flow(
        displacement_m3, filled, fluid, volumetric_efficiency(ratio, gas.speed_rps)
    )
    slow = np.clip(1.0 - gas.speed_rps / LEAKAGE_SPEED_RPS, 0.0, 1.0)
    band = np.hypot(FLOW_BAND, LOW_SPEED_BAND * slow)
    upper = np.hypot(band, WET_SUCTION_BAND * (temperature - dew < 1.0))
    return CompressorFlow(flow, flow / (1.0 + band), flow * (1.0 + upper))
