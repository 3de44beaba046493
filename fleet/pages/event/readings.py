"""What a visitor measured: entered and printed in the reader's units, kept in SI."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from django import forms
from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from diagnostics import units as si
from fleet.models import READINGS
from fleet.pages import units
from fleet.pages.forms import DECIMAL
from fleet.pages.units import Preference
from fleet.pages.words import NARROW

PREFIX = "reading_"


@dataclass(frozen=True)
class Quantity:
    """One reading: what it is called, and its bounds [SI] beyond which it is a slip."""

    label: str | Promise
    kind: str
    low: float
    high: float


QUANTITIES: Mapping[str, Quantity] = {
    "subcooling_k": Quantity(_("Subcooling with your own gauge and clamp"), "difference", -10, 60),
    "discharge_superheat_k": Quantity(
        _("Discharge superheat with your own gauge and clamp"), "difference", -20, 120
    ),
    "discharge_pressure_pa": Quantity(_("Discharge pressure"), "pressure", 0.5e5, 60e5),
    "liquid_temperature_outdoor_side_k": Quantity(
        _("Liquid line, outdoor side of the subcooler"), "temperature", 223, 393
    ),
    "liquid_temperature_indoor_side_k": Quantity(
        _("Liquid line, indoor side of the subcooler"), "temperature", 223, 393
    ),
    "recovered_kg": Quantity(_("Recovered and weighed"), "mass", 0, 500),
    "charged_kg": Quantity(_("Charged again and weighed"), "mass", 0, 500),
}
assert tuple(QUANTITIES) == READINGS


def _unit(kind: str, prefer: Preference) -> str:
    """The unit a reading is entered in."""
    labels = {
        "difference": prefer.difference_label,
        "pressure": prefer.pressure_label,
        "temperature": prefer.temperature_label,
        "mass": prefer.mass_label,
    }
    return labels[kind]


def fields(prefer: Preference) -> dict[str, forms.FloatField]:
    """Fields of a form, none of them needed, by their names in it."""
    made = {}
    for name, quantity in QUANTITIES.items():
        label = f"{quantity.label}, {_unit(quantity.kind, prefer)}"
        field = forms.FloatField(required=False, label=label)
        field.widget.attrs |= DECIMAL
        made[PREFIX + name] = field
    return made


def inside(name: str, value: float, prefer: Preference, atmosphere_pa: float) -> float:
    """A value entered in the reader's unit, in SI."""
    kind, given = QUANTITIES[name].kind, np.asarray(value, np.float64)
    if kind == "difference":
        return float(given / si.DIFFERENCE_UNITS[prefer.difference])
    if kind == "temperature":
        return float(si.TEMPERATURE_UNITS[prefer.temperature].inside(given, 0.0))
    if kind == "pressure":
        scale = si.PRESSURE_UNITS[prefer.pressure]
        return float(scale.inside(given, atmosphere_pa))
    return float(prefer.mass_in_kg(value) or 0.0)


def printed(
    readings: Mapping[str, float], prefer: Preference, atmosphere_pa: float
) -> list[tuple[str, str]]:
    """Readings that are kept, with their names and units as printed."""
    return [
        (str(quantity.label), _text(quantity.kind, float(readings[name]), prefer, atmosphere_pa))
        for name, quantity in QUANTITIES.items()
        if name in readings
    ]


def _text(kind: str, value: float, prefer: Preference, atmosphere_pa: float) -> str:
    if kind == "difference":
        return units.difference(value, prefer)
    if kind == "temperature":
        return units.measured(value - 273.15, "degC", prefer)
    if kind == "pressure":
        shown = float(prefer.pressure_of(np.asarray(value), atmosphere_pa))
        digits = 2 if prefer.pressure == "bar(g)" else 0
        return f"{units.number(shown, digits)}{NARROW}{prefer.pressure_label}"
    return units.measured(value, "kg", prefer)
