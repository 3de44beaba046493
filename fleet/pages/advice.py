"""What a technician checks first, brings and minds, per suspicion: our own words, in a table."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop

TABLE = Path(__file__).with_name("advice.toml")

WET_RETURN, ALWAYS = "wet_return", "always"
"""Tables of what comes before the checks of any condition, and of what is brought for all."""

REFRIGERANT_CLASS = {"R-410A": "A1", "R-32": "A2L", "R-454B": "A2L"}
"""Safety group by ASHRAE 34."""


@dataclass(frozen=True)
class Check:
    """One thing to do on site, and the reading that confirms or refutes the suspicion.

    finding: name of the finding whose logged number belongs beside it; empty for none.
    """

    do: str
    confirms: str
    refutes: str
    finding: str = ""


@dataclass(frozen=True)
class Advice:
    """Checks in the order of least effort, and what to bring for them."""

    checks: tuple[Check, ...]
    bring: tuple[str, ...]


@cache
def _table() -> dict[str, Any]:
    with TABLE.open("rb") as file:
        return tomllib.load(file)


@cache
def _all() -> dict[str, Advice]:
    table = {name: entry for name, entry in _table().items() if name not in (WET_RETURN, ALWAYS)}
    return {
        condition: Advice(tuple(Check(**check) for check in entry["check"]), tuple(entry["bring"]))
        for condition, entry in table.items()
    }


def advice(condition: str, refrigerant: str = "", *, urgent: bool = False) -> Advice:
    """Advice for a condition; none for one we have no words for.

    ``urgent``: liquid may be coming back to the compressor, which is looked at before all else.
    """
    found = _all().get(condition, Advice((), ()))
    first = tuple(Check(**check) for check in _table()[WET_RETURN]["check"]) if urgent else ()
    always = _table()[ALWAYS]
    bring = (*always["bring"], *always.get(REFRIGERANT_CLASS.get(refrigerant, ""), ()))
    return Advice((*first, *found.checks), (*found.bring, *bring))


def conditions() -> frozenset[str]:
    """The conditions the table knows."""
    return frozenset(_all())


_PRESSURE = gettext_noop(
    "High pressure: use tools rated for this refrigerant, and never trap liquid between two closed "
    "valves. Escaping liquid freezes skin; the discharge pipe burns."
)
_A1 = gettext_noop(
    "{name} is class A1 (ASHRAE 34): not flammable as used, but it displaces air. "
    "Ventilate, and no open flame near a release."
)
_A2L = gettext_noop(
    "{name} is class A2L (ASHRAE 34): mildly flammable. Ventilate, detector running, no ignition "
    "source, purge with nitrogen before brazing, recovery machine and vacuum pump rated for A2L."
)
_UNKNOWN = gettext_noop(
    "Safety class of {name} is not known here: read it on the nameplate before opening."
)
_ELECTRICAL = gettext_noop(
    "Lock out and tag out before opening the electrical box. The inverter's DC link stays charged "
    "for minutes: wait as its label says and measure before touching."
)
_HEIGHT = gettext_noop("Roof edge and ladders: fall protection as the local rules ask.")
_LAW = gettext_noop(
    "Only licensed people open the circuit. Recover, weigh, compare; nothing here asks to "
    "let refrigerant in or out. Local codes and the competent person on site decide."
)


def cautions(refrigerant: str) -> tuple[str, ...]:
    """The usual cautions, with the refrigerant's safety class."""
    group = REFRIGERANT_CLASS.get(refrigerant)
    gas = {"A1": _A1, "A2L": _A2L}.get(group or "", _UNKNOWN)
    said = (_PRESSURE, gas, _ELECTRICAL, _HEIGHT, _LAW)
    return tuple(_(text).format(name=refrigerant) for text in said)
