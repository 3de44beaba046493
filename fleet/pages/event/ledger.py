"""The verdict's ledger in plain words: measured, expected, how sure, which way it pushes."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from django.utils.translation import gettext as _

from fleet.language import decimal
from fleet.pages import words
from fleet.pages.units import Preference, measured, number
from fleet.pages.words import NARROW, SLIGHT
from fleet.said import say

SHARES = frozenset(
    (
        "frozen_reading",
        "hunting_under_demand",
        "indoor_valves_open",
        "low_speed_rooms_short",
        "saturated_liquid",
    )
)
"""Findings without a unit that are shares of something whole: printed in per cent."""

_DIGIT, _LAST_ZERO = re.compile(r"[1-9]"), re.compile(r"0(?!.*0)")

LEAST_FACTOR = 0.02
"""How much a finding must count more or less than in the table to be spoken of."""


@dataclass(frozen=True)
class Push:
    """What one finding does to one suspicion."""

    suspicion: words.Suspicion
    log_ratio: float

    @property
    def text(self) -> str:
        """In words."""
        return words.push(self.log_ratio)

    @property
    def way(self) -> str:
        """for, against or neither: the class and shape it is drawn with."""
        if abs(self.log_ratio) < SLIGHT:
            return "neither"
        return "for" if self.log_ratio > 0 else "against"


@dataclass(frozen=True)
class Line:
    """One finding as printed."""

    finding: str
    title: str
    measured: str
    expected: str
    uncertainty: str
    push: Push
    others: tuple[Push, ...]
    text: str
    source: str
    settle: str
    hours: str


def lines(verdict: Mapping[str, Any], condition: str, prefer: Preference) -> list[Line]:
    """The ledger of a stored verdict, what moves ``condition`` most first."""
    found = [_line(entry, condition, prefer) for entry in verdict.get("ledger") or ()]
    return sorted(found, key=lambda line: -abs(line.push.log_ratio))


def _line(entry: Mapping[str, Any], condition: str, prefer: Preference) -> Line:
    unit = str(entry.get("unit") or "")
    title = say(str(entry.get("title") or entry.get("finding") or ""))
    if entry.get("finding") in SHARES:
        unit = "share"
    pushes: Mapping[str, float] = entry.get("push") or {}
    own = Push(words.suspicion(condition), float(pushes.get(condition, 0.0)))
    others = [
        Push(words.suspicion(code), float(ratio))
        for code, ratio in pushes.items()
        if code != condition and abs(ratio) >= SLIGHT
    ]
    spread = entry.get("uncertainty")
    spread_unit = "share" if unit == "ratio" else unit  # relative, by the ledger's convention
    return Line(
        finding=str(entry.get("finding") or ""),
        title=title,
        measured=measured(entry.get("measured"), unit, prefer),
        expected=measured(entry.get("expected"), unit, prefer),
        uncertainty=f"± {_doubt(spread, spread_unit, prefer)}" if spread is not None else "",
        push=own,
        others=tuple(sorted(others, key=lambda push: -push.log_ratio)),
        text=_text(entry, own),
        source=decimal(say(str(entry.get("source") or ""))),
        settle=say(str(entry.get("settle") or "")),
        hours=number(entry.get("hours"), 0),
    )


def _doubt(spread: float, unit: str, prefer: Preference) -> str:
    """An uncertainty as printed; one that is there is never rounded to none."""
    shown = measured(spread, unit, prefer)
    if spread > 0.0 and not _DIGIT.search(shown):
        shown = _LAST_ZERO.sub("1", shown)
    return shown


def _text(entry: Mapping[str, Any], own: Push) -> str:
    """The entry's sentence where it fits, and how much visits make the finding count."""
    said = [say(str(entry.get("text") or ""))] if _agrees(entry, own) else []
    factor = float(entry.get("factor") or 1.0)
    if abs(factor - 1.0) >= LEAST_FACTOR:
        counts = _("counts %(n)s times since visits have tested it")
        shown = decimal(f"{factor:.2f}")
        said.append(counts.replace("%(n)s ", f"{shown}{NARROW}"))
    return "; ".join(filter(None, said))


def _agrees(entry: Mapping[str, Any], own: Push) -> bool:
    """The entry's sentence speaks of its strongest condition; beside another it would mislead."""
    return entry.get("towards") == own.suspicion.code or own.way != "for"
