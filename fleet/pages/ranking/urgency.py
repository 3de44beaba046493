"""How soon somebody should go: the rooms' comfort, the compressor, and the season."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import timedelta
from typing import Any

from django.db.models import DateTimeField, ExpressionWrapper, F
from django.db.models.functions import Greatest
from django.utils.translation import gettext as _

from diagnostics.analyse import METHOD_VERSION
from fleet.models import PooledDay
from fleet.pages import units
from fleet.pages.days.sums import feature, known
from fleet.pages.units import Preference

WEEK = timedelta(days=7)
SHORT_K = 0.5
"""Rooms that asked were on average this far short: they are felt (common practice, no source)."""

_HOUR = 3600.0
_LEAST_SHORT_KH = 1.0
_LEAST_AIR_S = 1800.0
_SUMMED = ("logged", "running", "judged", "asking", "cooling", "heating")
_SEASON = 2.0
"""A week is of a season when one kind of running outweighs the other this often."""


@dataclass(frozen=True)
class Week:
    """Seven days of one system up to its last window, summed; times in hours, air in kelvin."""

    logged_h: float
    running_h: float
    judged_h: float
    asking_h: float
    short_kh: float
    cooling_h: float
    heating_h: float
    air_k: float | None

    @property
    def season(self) -> str:
        """cooling, heating or both; empty where it hardly ran steadily."""
        cooling, heating = self.cooling_h, self.heating_h
        if cooling + heating < 1.0:
            return ""
        if cooling >= _SEASON * heating:
            return "cooling"
        return "heating" if heating >= _SEASON * cooling else "both"

    @property
    def rooms_suffer(self) -> bool:
        """Rooms were short of their setpoint by as much as people feel."""
        return self.asking_h > 0 and self.short_kh / self.asking_h >= SHORT_K


@dataclass(frozen=True)
class Urgency:
    """The same as printed."""

    week: Week | None
    compressor: bool
    prefer: Preference

    @property
    def word(self) -> str:
        """How soon; the order is: compressor, rooms, the rest."""
        if self.compressor:
            return _("as soon as somebody can")
        if self.week is not None and self.week.rooms_suffer:
            return _("this week")
        return _("with the next round")

    @property
    def comfort(self) -> str:
        """What the rooms lacked."""
        week = self.week
        if week is None or week.asking_h == 0:
            return _("comfort cannot be told")
        if week.short_kh < _LEAST_SHORT_KH:
            return _("rooms keep their setpoints")
        short = units.degree_hours(week.short_kh, self.prefer)
        return _("rooms short %(amount)s in 7 days") % {"amount": short}

    @property
    def season(self) -> str:
        """What the system was mostly asked for, and how warm it was."""
        week = self.week
        if week is None or not week.season:
            return ""
        said = {
            "cooling": _("mostly cooling"),
            "heating": _("mostly heating"),
            "both": _("cooling and heating"),
        }[week.season]
        if week.air_k is None:
            return said
        air = units.measured(week.air_k - 273.15, "degC", self.prefer)
        return _("%(mode)s at %(air)s outdoors") % {"mode": said, "air": air}

    @property
    def missing(self) -> str:
        """What the data of the week lack, in hours; empty where nothing much is missing."""
        week = self.week
        if week is None:
            return _("no analysed day in the last 7 days of data")
        parts = []
        if week.logged_h < 0.9 * WEEK.total_seconds() / _HOUR:
            logged = f"{week.logged_h:.0f}"
            parts.append(_("logged %(hours)s of 168 h") % {"hours": logged})
        if week.running_h > 0 and week.judged_h < 0.5 * week.running_h:
            judged, ran = f"{week.judged_h:.0f}", f"{week.running_h:.0f}"
            parts.append(
                _("direction and subcooling known in %(judged)s of %(ran)s h")
                % {"judged": judged, "ran": ran}
            )
        return ", ".join(parts)


def load(systems: Iterable[int]) -> dict[int, Week]:
    """The last week of each system that has one; one query, however many systems."""
    since = ExpressionWrapper(F("system__standing__at") - WEEK, output_field=DateTimeField())
    rows = PooledDay.objects.filter(
        system__in=list(systems),
        day__gte=since,
        method_version=METHOD_VERSION,  # an older one's rows hold other features
    )
    sums = {name: known(feature(f"{name}_s")) for name in _SUMMED}
    sums["short"] = known(Greatest(feature("shortfall_k"), 0.0) * feature("asking_s"))
    for way in ("indoor", "outdoor"):
        seconds = feature(f"to_{way}_s")
        warmth = feature(f"air_to_{way}_k") * seconds
        sums[f"warmth_{way}"] = known(warmth)
        sums[f"weight_{way}"] = known(seconds, where=warmth)
    found = rows.values("system").annotate(**sums)
    return {row["system"]: _week(row) for row in found}


def _week(row: Mapping[str, Any]) -> Week:
    hours = {f"{name}_h": (row[name] or 0.0) / _HOUR for name in _SUMMED}
    weight_s = (row["weight_indoor"] or 0.0) + (row["weight_outdoor"] or 0.0)
    warmth = (row["warmth_indoor"] or 0.0) + (row["warmth_outdoor"] or 0.0)
    return Week(
        **hours,
        short_kh=(row["short"] or 0.0) / _HOUR,
        air_k=warmth / weight_s if weight_s >= _LEAST_AIR_S else None,
    )
