"""Refrigerant mass flow through an electronic expansion valve.

``flow = Cd * A * sqrt(2 * rho_liquid * (p_high - p_low))`` with subcooled liquid at the inlet.
The relation of opening to area is particular to a valve model. Ours is not calibrated for any: a
straight line above a dead band. Published fits of one and the same valve (Li 2013, Applied Thermal
Engineering 53:8-12) already differ by 42 % at a tenth of full opening and 8 % at half, so a flow is
given with the bands below and is not quantified near the dead band.
"""

from __future__ import annotations

import numpy as np

from diagnostics.plant import Plant
from diagnostics.samples import FloatArray

DISCHARGE_COEFFICIENT = 0.65
"""Sharp-edged orifice, textbook; the published fits run from 0.5 at half opening to 0.9 fully open
when the area taken is that of the seat."""

DEAD_BAND = 0.06
"""Opening at which flow begins: 20 to 60 pulses of 480; common practice, no source."""

QUANTIFIED_ABOVE = 0.10
"""Below this opening the unknown start of the dead band outweighs the opening itself."""

WELL_KNOWN_ABOVE = 0.20
BAND_OPEN = 0.25
BAND_SMALL = 0.40
BAND_SCALED_AREA = 0.50
"""Relative half widths (95 %) of an uncalibrated valve: above and below 20 % opening with the
manifest's throat area, and what an area scaled from capacity adds. Common practice, after the
spread of the published fits."""

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
    return np.asarray(full_m2 * np.clip((opening - DEAD_BAND) / (1.0 - DEAD_BAND), 0.0, 1.0))


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


def relative_band(opening: FloatArray, plant: Plant) -> FloatArray:
    """Relative half width (95 %) of the flow at ``opening``; NaN where it cannot be quantified."""
    small = np.where(opening >= WELL_KNOWN_ABOVE, BAND_OPEN, BAND_SMALL)
    band = np.where(opening >= QUANTIFIED_ABOVE, small, np.nan)
    if plant.subcooler_valve_full_area_m2 is None:
        band = np.hypot(band, BAND_SCALED_AREA)
    return np.asarray(band)
