"""The reader's units: what is SI inside, as text with the unit they chose."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

import numpy as np
from django.contrib.auth.signals import user_logged_in
from django.dispatch import receiver
from django.http import HttpRequest, HttpResponse
from django.utils.formats import date_format
from django.utils.translation import gettext, gettext_noop
from django.views.decorators.http import require_POST

from diagnostics import units
from diagnostics.samples import FloatArray
from fleet.language import decimal
from fleet.models import PersonSettings
from fleet.pages.back import back
from fleet.pages.words import NARROW
from fleet.said import say

if TYPE_CHECKING:
    from collections.abc import Mapping

    from django.contrib.auth.models import User

TEMPERATURES = {"degC": "°C", "degF": "°F"}
PRESSURES = {
    "kPa(g)": gettext_noop("kPa gauge"),
    "bar(g)": gettext_noop("bar gauge"),
    "psig": gettext_noop("psi gauge"),
}
MASSES = {"kg": "kg", "lb": "lb"}
LB_KG = 0.453_592_37
"""The international avoirdupois pound, exact (NIST Special Publication 811, appendix B.8)."""

CHOICES: dict[str, Mapping[str, str]] = {
    "temperature": TEMPERATURES,
    "pressure": PRESSURES,
    "mass": MASSES,
}
MINUS = "−"
_QUANTITY = re.compile(r"(?<![\w.])(-?\d+(?:\.(\d+))?)(?: (K|kPa|kg|°C)| ?(%))(?![\w/])")
_BELOW_ZERO = re.compile(r"(?<![^\s(])-(?=\d)")
_DAY = re.compile(r"\b\d{4}-\d\d-\d\d\b")


@dataclass(frozen=True)
class Preference:
    """What one reader wants to read: temperature, pressure and mass unit."""

    temperature: str = "degC"
    pressure: str = "kPa(g)"
    mass: str = "kg"

    @property
    def difference(self) -> str:
        """The unit of temperature differences that goes with the temperature unit."""
        return "degF" if self.temperature == "degF" else "K"

    @property
    def temperature_label(self) -> str:
        """As printed beside a temperature."""
        return TEMPERATURES[self.temperature]

    @property
    def difference_label(self) -> str:
        """As printed beside a temperature difference."""
        return "°F" if self.temperature == "degF" else "K"

    @property
    def pressure_label(self) -> str:
        """As printed beside a pressure."""
        return gettext(PRESSURES[self.pressure])

    @property
    def mass_label(self) -> str:
        """As printed beside a mass."""
        return MASSES[self.mass]

    def mass_of(self, value_kg: float) -> float:
        """A mass [kg] in the reader's unit."""
        return value_kg / LB_KG if self.mass == "lb" else value_kg

    def mass_in_kg(self, value: float | None) -> float | None:
        """A mass that the reader entered in their unit, in kg; None stays None."""
        return value * LB_KG if value is not None and self.mass == "lb" else value

    def temperature_of(self, values_k: FloatArray) -> FloatArray:
        """Temperatures [K] in the reader's unit."""
        return units.temperature_from_k(values_k, self.temperature)

    def difference_of(self, values_k: FloatArray) -> FloatArray:
        """Temperature differences [K] in the reader's unit."""
        return units.temperature_difference_from_k(values_k, self.difference)

    def pressure_of(self, values_pa: FloatArray, atmosphere_pa: float) -> FloatArray:
        """Absolute pressures [Pa] as gauge pressures in the reader's unit."""
        return units.pressure_from_pa(values_pa, self.pressure, atmosphere_pa)


def preference(request: HttpRequest) -> Preference:
    """The reader's choice, kept in the session; it comes from their settings at sign-in."""
    chosen: Mapping[str, str] = request.session.get("units", {})
    known = {name: chosen.get(name, "") for name, units_ in CHOICES.items()}
    return Preference(**{name: it for name, it in known.items() if it in CHOICES[name]})


def keep(request: HttpRequest, chosen: Mapping[str, str]) -> None:
    """Keep the reader's units, in the session and in their settings; nonsense is passed over."""
    good = {name: it for name, it in chosen.items() if it in CHOICES.get(name, ())}
    request.session["units"] = {**request.session.get("units", {}), **good}
    if request.user.pk is not None and good:
        settings = PersonSettings.objects.of(request.user.pk)
        PersonSettings.objects.filter(pk=settings.pk).update(**good)


@receiver(user_logged_in)
def _bring_along(request: HttpRequest, user: User, **_: object) -> None:
    stored = PersonSettings.objects.filter(user=user).values(*CHOICES).first()
    if stored and any(stored.values()):
        request.session["units"] = stored


def number(value: float | None, digits: int) -> str:
    """A number as printed: a true minus sign, a dash for none."""
    if value is None or not math.isfinite(value):
        return "–"
    text = f"{value:.{digits}f}"
    text = text.lstrip("-") if float(text) == 0 else text.replace("-", MINUS)
    return decimal(text)


def difference(value_k: float | None, prefer: Preference) -> str:
    """A temperature difference with its unit; no digits finer than the instruments allow."""
    if value_k is None or not math.isfinite(value_k):
        return "–"
    shown = float(prefer.difference_of(np.asarray(value_k)))
    digits = 1 if prefer.difference == "K" else 0
    return f"{number(shown, digits)}{NARROW}{prefer.difference_label}"


def degree_hours(value_kh: float | None, prefer: Preference) -> str:
    """Degree-hours in the reader's unit."""
    if value_kh is None:
        return "–"
    shown = float(prefer.difference_of(np.asarray(value_kh)))
    return f"{number(shown, 0 if shown >= 9.95 else 1)}{NARROW}{prefer.difference_label}·h"


def measured(value: float | None, unit: str, prefer: Preference) -> str:
    """A ledger's number with the reader's unit. ``unit`` is the ledger's: K is a difference."""
    if value is None or not math.isfinite(value):
        return "–"
    if unit == "K":
        return difference(value, prefer)
    if unit in ("1", "ratio"):
        return number(value, 2)
    if unit == "share":
        return f"{number(100 * value, 0)}{NARROW}%"
    if unit == "kPa":
        value, unit = value * 1e3, "Pa"
    if unit == "Pa":
        scale = {"kPa(g)": ("kPa", 1e3, 0), "bar(g)": ("bar", 1e5, 2)}
        label, factor, digits = scale.get(prefer.pressure, ("psi", units.PSI_PA, 1))
        return f"{number(value / factor, digits)}{NARROW}{label}"
    if unit == "kg":
        value, unit = prefer.mass_of(value), prefer.mass_label
    if unit == "degC":
        shown = float(prefer.temperature_of(np.asarray(value + 273.15)))
        return f"{number(shown, 1)}{NARROW}{prefer.temperature_label}"
    digits = 0 if abs(value) >= 100 else 1 if abs(value) >= 10 else 2
    return f"{number(value, digits)}{NARROW}{unit}".rstrip()


def _quantity(found: re.Match[str], prefer: Preference) -> str:
    """A quantity of a sentence, which pressures and temperatures in it take for differences."""
    value, digits, unit = float(found[1]), len(found[2] or ""), found[3] or found[4]
    if unit == "kg":
        shown = number(prefer.mass_of(value), digits if prefer.mass == "kg" else 1)
        return f"{shown}{NARROW}{prefer.mass_label}"
    if unit == "K" and prefer.difference != "K":
        return difference(value, prefer)
    if unit == "kPa" and prefer.pressure != "kPa(g)":
        return measured(value, unit, prefer)
    return f"{number(value, digits)}{NARROW}{unit}"


def text(said: str, prefer: Preference) -> str:
    """A stored sentence in the reader's language, its quantities in the reader's units.

    Numbers stay on one line with their units, and days are written as pages write them.
    """
    said = _QUANTITY.sub(lambda found: _quantity(found, prefer), say(said))
    said = _BELOW_ZERO.sub(MINUS, said)
    said = _DAY.sub(lambda found: date_format(date.fromisoformat(found[0]), "j M Y"), said)
    return decimal(said)


@require_POST
def choose(request: HttpRequest) -> HttpResponse:
    """Keep the reader's units and go back to where they were."""
    keep(request, {name: request.POST[name] for name in CHOICES if name in request.POST})
    return back(request)
