"""What a technician checks first, brings and minds, per suspicion: our own words, in a table."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

from fleet.pages.cautions import REFRIGERANT_CLASS

TABLE = Path(__file__).with_name("advice.toml")

WET_RETURN, ALWAYS = "wet_return", "always"
"""Tables of what comes before the checks of any condition, and of what is brought for all."""


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
