"""What every number on a page is, how it is computed, and on what that rests."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from pathlib import Path

TABLE = Path(__file__).with_name("glossary.toml")


@dataclass(frozen=True)
class Term:
    """One number: its name, what it is, how it is computed, and the source of that."""

    key: str
    name: str
    what: str
    how: str
    source: str


@cache
def terms() -> dict[str, Term]:
    """All terms by their key."""
    with TABLE.open("rb") as file:
        return {key: Term(key, **entry) for key, entry in tomllib.load(file).items()}
