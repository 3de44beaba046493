"""What is known of a system before any sample is read: frozen records, SI units."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

STANDARD_ATMOSPHERE_PA = 101_325.0


class Refrigerant(StrEnum):
    """ASHRAE 34 designations this package has tables for."""

    R410A = "R-410A"
    R32 = "R-32"
    R454B = "R-454B"


class BranchSide(StrEnum):
    """Side of the subcooler on which its bypass is taken off the main liquid line."""

    OUTDOOR = "outdoor_side"
    INDOOR = "indoor_side"


@dataclass(frozen=True)
class IndoorUnit:
    """One indoor unit; ``elevation_m`` is above (+) or below (-) the outdoor unit."""

    code: str
    cooling_capacity_w: float
    room: str = ""
    room_volume_m3: float | None = None
    elevation_m: float | None = None


@dataclass(frozen=True)
class LiquidLine:
    """One run of the liquid line, for the charge worksheet."""

    inside_diameter_m: float
    length_m: float


@dataclass(frozen=True)
class Plant:
    """One outdoor unit (modules seen as one) with its indoor units, in manifest order.

    ``compressor_displacement_m3`` is swept volume per revolution of all compressors together.
    ``atmospheric_pressure_pa`` is the site's (ISO 2533), for gauge pressures.
    """

    refrigerant: Refrigerant
    cooling_capacity_w: float
    compressor_displacement_m3: float
    compressor_max_speed_rps: float
    subcooler_valve_full_pulses: float
    indoor: tuple[IndoorUnit, ...]
    motor_pole_pairs: float | None = None
    subcooler_valve_full_area_m2: float | None = None
    subcooler_branch_side: BranchSide | None = None
    rated_charge_kg: float | None = None
    liquid_lines: tuple[LiquidLine, ...] = ()
    atmospheric_pressure_pa: float = STANDARD_ATMOSPHERE_PA


def atmospheric_pressure_pa(altitude_m: float) -> float:
    """Standard atmospheric pressure [Pa] at a geopotential altitude [m], ISO 2533 troposphere."""
    return float(STANDARD_ATMOSPHERE_PA * (1.0 - 0.0065 * altitude_m / 288.15) ** 5.255_88)
