"""The measurements on site that would tell most, as printed."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from django.utils.translation import gettext as _

from fleet.pages import units, words
from fleet.pages.units import Preference
from fleet.said import say

_WORTH_SAYING = 0.02


@dataclass(frozen=True)
class Told:
    """One measurement: what to do, which reading points where, and how much surer it would make."""

    do: str
    points: tuple[str, ...] = ()
    gain: str = ""


def steps(verdict: Mapping[str, Any], prefer: Preference) -> list[Told]:
    """Those of a stored verdict, best first, in the reader's units; older ones are sentences."""
    return [_told(raw, prefer) for raw in verdict.get("settle") or ()]


def _told(raw: str | Mapping[str, Any], prefer: Preference) -> Told:
    if isinstance(raw, str):
        return Told(say(raw))
    now, then = float(raw["now"]), float(raw["then"])
    gain = ""
    if then - now > _WORTH_SAYING:
        sure = {"now": words.percent(now), "then": words.percent(then)}
        gain = _("Sure to %(now)s now, to about %(then)s after it.") % sure
    points = tuple(_sentence(units.text(point, prefer)) for point in raw["points"])
    return Told(f"{say(raw['do'])}.", points, gain)


def _sentence(text: str) -> str:
    return f"{text[:1].upper()}{text[1:]}."
