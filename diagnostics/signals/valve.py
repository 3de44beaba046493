"""Refrigerant mass flow through an electronic expansion valve.

``flow = Cd * A * sqrt(2 * rho_liquid * (p_high - p_low))`` with subcooled liquid at the inlet.
The relation of opening to area is particular to a valve model. Ours is not calibrated for any: a
straight line above a dead band. Published fits of one and the same valve (Li 2013, Applied Thermal
Engineering 53:8-12) already differ by 42 % at a tenth of full opening and 8 % at half, so the doubt
about size, power and start of the curve is carried along: at 95 % it comes to a quarter fully open,
a third at half, four fifths at a fifth, and next to the dead band nothing is quantified.
"""

from __future__ import annotations

import numpy as np

from diagnostics.plant import Plant
from diagnostics.samples import FloatArray

DISCHARGE_COEFFICIENT = 0.65
"""Sharp-edged orifice, textbook; the published fits run from 0.5 at half opening to 0.9 fully open
when the area taken is that of the seat."""

DEAD_BAND = 0.06
"""Least opening at which refrigerant may be taken to pass."""

CURVE_START = 40 / 480
CURVE_START_SIGMA = 10 / 480
"""Where the curve begins: flow starts at 20 to 60 pulses of 480; common practice, no source."""

HYSTERESIS_SIGMA = 6 / 480
"""Doubt about the opening itself: a stepper's hysteresis of 3 to 10 pulses of 480, pulsing about
the start of the curve. No calibration takes it away. Common practice, no source."""

SIZE_SIGMA = 0.12
SCALED_SIZE_SIGMA = 0.25
"""Standard uncertainty (in logarithms) of an uncalibrated valve fully open, +-25 % at 95 %: with
the manifest's throat area, and with one scaled from the cooling capacity."""

POWER_SIGMA = 0.15
"""Standard uncertainty of the power of travel by which a curve departs from a straight line: the
published fits of one valve give powers of 0.8 to 1.2."""

LEAST_TRAVEL = 0.02
"""Below it the unknown start of the curve outweighs the travel itself: not quantified."""

RATED_FLOW_SHARE = 0.30
"""Flow through the fully open bypass valve as a share of the rated main flow, by which an unknown
area is scaled from the cooling capacity; common practice, no source."""

RATED_HEAT_J_KG = 165e3
RATED_VELOCITY_KG_S_M2 = 57.8e3
"""Cooling per kg of liquid at rated conditions, and sqrt(2 * rho * dp) of R-410A between 2.6 and
0.95 MPa with liquid at 35 degC (1011.7 kg/m3). R-32 carries half as much heat again per kg and
drives a little less mass through the same area; the wide band holds both."""


def full_area_m2(plant: Plant) -> float:
    """Throat area fully open: the manifest's, else scaled from the cooling capacity."""
    if plant.subcooler_valve_full_area_m2 is not None:
        return plant.subcooler_valve_full_area_m2
    rated_flow_kg_s = plant.cooling_capacity_w / RATED_HEAT_J_KG
    return RATED_FLOW_SHARE * rated_flow_kg_s / (DISCHARGE_COEFFICIENT * RATED_VELOCITY_KG_S_M2)


def area_m2(opening: FloatArray, full_m2: float) -> FloatArray:
    """Throat area at ``opening`` [fraction of full]: zero in the dead band, then straight."""
    travel = (opening - CURVE_START) / (1.0 - CURVE_START)
    return np.asarray(full_m2 * np.clip(travel, 0.0, 1.0))


def mass_velocity_kg_s_m2(
    rho_kg_m3: FloatArray | float, high_pa: FloatArray | float, low_pa: FloatArray | float
) -> FloatArray:
    """Ideal flow per throat area, ``sqrt(2 * rho * (p_high - p_low))``; zero without a drop."""
    drop = np.asarray(high_pa, float) - np.asarray(low_pa, float)
    return np.asarray(np.sqrt(2.0 * np.asarray(rho_kg_m3, float) * np.maximum(drop, 0.0)))


def mass_flow_kg_s(
    area: FloatArray | float,
    velocity_kg_s_m2: FloatArray | float,
    discharge_coefficient: float = DISCHARGE_COEFFICIENT,
) -> FloatArray:
    """Mass flow [kg/s] through ``area`` [m2] at an ideal mass velocity [kg/(s m2)]."""
    return np.asarray(discharge_coefficient * area * velocity_kg_s_m2)


def curve_basis(travel: FloatArray) -> FloatArray:
    """How the logarithm of the flow answers to size, power and start of the curve, shape (3, n).

    travel: area over full area; NaN where it is too small to be quantified.
    """
    known = np.where(travel >= LEAST_TRAVEL, travel, np.nan)
    return np.stack([np.ones(travel.shape), np.log(known), -1.0 / (known * (1.0 - CURVE_START))])


def hysteresis_sigma(travel: FloatArray) -> FloatArray:
    """What the doubt about the opening adds to the logarithm of the flow."""
    known = np.where(travel >= LEAST_TRAVEL, travel, np.nan)
    return np.asarray(HYSTERESIS_SIGMA / (known * (1.0 - CURVE_START)))


def curve_prior(plant: Plant) -> FloatArray:
    """Standard uncertainties of size, power and start of an uncalibrated curve, shape (3,)."""
    known = plant.subcooler_valve_full_area_m2 is not None
    return np.array([SIZE_SIGMA if known else SCALED_SIZE_SIGMA, POWER_SIGMA, CURVE_START_SIGMA])
