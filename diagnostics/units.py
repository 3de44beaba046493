"""Units at the door: what a file or a page may say, and the SI unit inside.

A temperature and a temperature difference are different quantities (20 degC is 68 degF, a drop of
20 K is one of 36 degF), and so are gauge and absolute pressure; each has its own functions here.
Factors are exact by definition: the international foot-pound-second units in terms of SI.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from diagnostics.channels import Channel, Quantity
from diagnostics.plant import Plant, atmospheric_pressure_pa
from diagnostics.samples import FloatArray

__all__ = [
    "DIFFERENCE_UNITS",
    "MASS_UNITS",
    "PRESSURE_UNITS",
    "TEMPERATURE_UNITS",
    "UnitError",
    "accepted_units",
    "atmospheric_pressure_pa",
    "mass_from_kg",
    "pressure_from_pa",
    "temperature_difference_from_k",
    "temperature_from_k",
    "to_inside",
]

POUND_KG = 0.453_592_37
PSI_PA = POUND_KG * 9.806_65 / 0.0254**2


class UnitError(ValueError):
    """A value's unit cannot be understood; the message says what, why and what is accepted."""

    def __init__(self, channel: str, unit: str | None, reason: str) -> None:
        """Keeps the ``channel`` and ``unit`` refused, and the ``reason`` with its remedy."""
        self.channel, self.unit, self.reason = channel, unit, reason
        super().__init__(f"{channel}: {reason}")


@dataclass(frozen=True)
class _Scale:
    """inside = factor * (said + shift), plus the site's atmosphere where ``gauge``."""

    factor: float
    shift: float = 0.0
    gauge: bool = False

    def inside(self, said: FloatArray, atmosphere_pa: float) -> FloatArray:
        return np.asarray(self.factor * (said + self.shift) + self.gauge * atmosphere_pa)

    def said(self, inside: FloatArray, atmosphere_pa: float) -> FloatArray:
        return np.asarray((inside - self.gauge * atmosphere_pa) / self.factor - self.shift)


TEMPERATURE_UNITS: dict[str, _Scale] = {
    "degC": _Scale(1.0, 273.15),
    "degF": _Scale(5 / 9, 459.67),
    "K": _Scale(1.0),
}
PRESSURE_UNITS: dict[str, _Scale] = {
    "kPa(a)": _Scale(1e3),
    "kPa(g)": _Scale(1e3, gauge=True),
    "bar(a)": _Scale(1e5),
    "bar(g)": _Scale(1e5, gauge=True),
    "MPa(a)": _Scale(1e6),
    "MPa(g)": _Scale(1e6, gauge=True),
    "psia": _Scale(PSI_PA),
    "psig": _Scale(PSI_PA, gauge=True),
}
DIFFERENCE_UNITS: dict[str, float] = {"K": 1.0, "degF": 1.8}
MASS_UNITS: dict[str, float] = {"kg": 1.0, "lb": 1 / POUND_KG}

NEITHER_GAUGE_NOR_ABSOLUTE = {
    "kPa": "kPa(g) or kPa(a)",
    "bar": "bar(g) or bar(a)",
    "MPa": "MPa(g) or MPa(a)",
    "psi": "psig or psia",
}


def _speed_factor(channel: Channel, unit: str, plant: Plant) -> float:
    if unit != "Hz":
        return {"rps": 1.0, "rpm": 1 / 60, "%": plant.compressor_max_speed_rps / 100}[unit]
    if plant.motor_pole_pairs is None:
        raise UnitError(
            channel.name,
            unit,
            "a speed in Hz is electrical and cannot be read without the motor's pole pairs: "
            "set motor_pole_pairs in the manifest, or send rps, rpm or %",
        )
    return 1 / plant.motor_pole_pairs


def _opening_factor(_: Channel, unit: str, plant: Plant) -> float:
    if unit == "%":
        return 0.01
    # No manifest says the travel of the indoor and outdoor valves; those of one make usually share
    # the subcooler valve's (common practice, no source). Their openings are only compared with
    # themselves, and the channel's range leaves room for valves of several times that travel.
    return 1 / plant.subcooler_valve_full_pulses


_Factor = Callable[[Channel, str, Plant], float]
_PROPORTIONAL: dict[Quantity, tuple[tuple[str, ...], _Factor]] = {
    Quantity.SPEED: (("rps", "rpm", "Hz", "%"), _speed_factor),
    Quantity.OPENING: (("pulses", "%"), _opening_factor),
}
_SCALES = {Quantity.TEMPERATURE: TEMPERATURE_UNITS, Quantity.PRESSURE: PRESSURE_UNITS}


def accepted_units(quantity: Quantity) -> tuple[str, ...]:
    """The units a file may give for ``quantity``; empty for those that stand without one."""
    if quantity in _SCALES:
        return tuple(_SCALES[quantity])
    return _PROPORTIONAL[quantity][0] if quantity in _PROPORTIONAL else ()


def to_inside(channel: Channel, unit: str | None, values: FloatArray, plant: Plant) -> FloatArray:
    """``values`` of ``channel`` in the unit inside (K, Pa absolute, rev/s, fraction).

    unit: as the file says it; None or empty for channels that stand without one.
    Raises UnitError: unknown or missing unit, pressure without gauge or absolute, Hz without
    ``plant.motor_pole_pairs``.
    """
    accepted = accepted_units(channel.quantity)
    unit = unit or None
    if (unit is None and accepted) or (unit is not None and unit not in accepted):
        raise UnitError(channel.name, unit, _refusal(channel, unit, accepted))
    if unit is None:
        return values
    if channel.quantity in _SCALES:
        return _SCALES[channel.quantity][unit].inside(values, plant.atmospheric_pressure_pa)
    factor = _PROPORTIONAL[channel.quantity][1](channel, unit, plant)
    return np.asarray(values * factor)


def _refusal(channel: Channel, unit: str | None, accepted: tuple[str, ...]) -> str:
    if not accepted:
        return f"stands without a unit, the file says [{unit}]: remove the unit"
    choice = ", ".join(accepted)
    if unit is None:
        return (
            f"the unit is missing: write it as {channel.name} [{accepted[0]}]; accepted: {choice}"
        )
    if channel.quantity is Quantity.PRESSURE and unit in NEITHER_GAUGE_NOR_ABSOLUTE:
        return (
            f"[{unit}] does not say whether the pressure is gauge or absolute: "
            f"write {NEITHER_GAUGE_NOR_ABSOLUTE[unit]}; accepted: {choice}"
        )
    return f"unknown unit [{unit}]; accepted: {choice}"


def _known(unit: str, what: str, accepted: dict[str, float] | dict[str, _Scale]) -> None:
    if unit not in accepted:
        reason = f"unknown unit [{unit}]; accepted: {', '.join(accepted)}"
        raise UnitError(what, unit, reason)


def temperature_from_k(values_k: FloatArray, unit: str) -> FloatArray:
    """A temperature [K] in degC, degF or K."""
    _known(unit, "temperature", TEMPERATURE_UNITS)
    return TEMPERATURE_UNITS[unit].said(values_k, 0.0)


def temperature_difference_from_k(values_k: FloatArray, unit: str) -> FloatArray:
    """A temperature difference [K] in K or degF: no zero is shifted."""
    _known(unit, "temperature difference", DIFFERENCE_UNITS)
    return np.asarray(values_k * DIFFERENCE_UNITS[unit])


def pressure_from_pa(values_pa: FloatArray, unit: str, atmosphere_pa: float) -> FloatArray:
    """An absolute pressure [Pa] in one of PRESSURE_UNITS; gauge against ``atmosphere_pa``."""
    _known(unit, "pressure", PRESSURE_UNITS)
    return PRESSURE_UNITS[unit].said(values_pa, atmosphere_pa)


def mass_from_kg(values_kg: FloatArray, unit: str) -> FloatArray:
    """A mass [kg] in kg or lb."""
    _known(unit, "mass", MASS_UNITS)
    return np.asarray(values_kg * MASS_UNITS[unit])
