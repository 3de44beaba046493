"""Named SQL statements from the .sql files beside this module, with their blanks filled in."""

from __future__ import annotations

import re
from functools import cache
from pathlib import Path
from typing import Any

from psycopg import sql

_NAME = re.compile(r"^-- name: (\w+)\n", re.MULTILINE)


@cache
def _statements() -> dict[str, str]:
    found: dict[str, str] = {}
    for name in ("schema.sql", "statements.sql"):
        text = (Path(__file__).parent / name).read_text(encoding="utf-8")
        _, *parts = _NAME.split(text)
        found |= dict(zip(parts[::2], parts[1::2], strict=True))
    return found


def plain(name: str) -> str:
    """A statement without blanks."""
    return _statements()[name]


def filled(name: str, **blanks: Any) -> sql.Composed:
    """A statement with its blanks filled: SQL as it is, anything else as a quoted literal."""
    # The text comes from our own files, which is what psycopg's LiteralString is to make sure of.
    return sql.SQL(plain(name)).format(**blanks)


@cache
def column_list(columns: tuple[str, ...], before: str = ", ", after: str = "") -> sql.Composed:
    """Quoted column names, each between ``before`` and ``after``."""
    left, right = sql.SQL(before), sql.SQL(after)
    return sql.Composed([part for c in columns for part in (left, sql.Identifier(c), right)])
