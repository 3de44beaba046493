"""Log lines that say which upload and which system they are about, for people or for machines.

MILLRACE_LOG_FORMAT chooses: ``line`` for people, ``logfmt`` (key=value) or ``json`` for programs.
"""

from __future__ import annotations

import json
import logging
from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from datetime import UTC, datetime
from typing import Any, Literal, get_args

Format = Literal["line", "logfmt", "json"]
FORMATS: tuple[str, ...] = get_args(Format)
SUBJECTS = ("upload", "system", "site")


def printable(text: str) -> str:
    """The text on one line: what would end it or move a cursor stands as JSON escapes it.

    Names, cells and addresses come from outside; as they are they could forge a line of a log, or
    speak to a terminal.
    """
    if text.isprintable():
        return text
    return "".join(sign if sign.isprintable() else json.dumps(sign)[1:-1] for sign in text)


_about: ContextVar[dict[str, str] | None] = ContextVar("about", default=None)


@contextmanager
def about(**subjects: object) -> Iterator[None]:
    """Everything logged in the block carries these, for instance ``upload=…, system=…``."""
    token = _about.set((_about.get() or {}) | {name: str(it) for name, it in subjects.items()})
    try:
        yield
    finally:
        _about.reset(token)


class Formatter(logging.Formatter):
    """Writes a record with its subjects, from `about` or from the record's ``extra``."""

    def __init__(self, shape: Format = "line") -> None:
        """Choose the shape."""
        super().__init__("%(asctime)s %(levelname)s %(name)s: %(message)s")
        if shape not in FORMATS:
            raise ValueError(
                f"MILLRACE_LOG_FORMAT is {shape!r}: choose one of {', '.join(FORMATS)}"
            )
        self.shape = shape

    def format(self, record: logging.LogRecord) -> str:
        """One line, but for a traceback after a line for people."""
        if self.shape == "json":
            return printable(json.dumps(self._fields(record), ensure_ascii=False))
        if self.shape == "logfmt":
            return " ".join(f"{key}={_quoted(it)}" for key, it in self._fields(record).items())
        return super().format(record)

    def formatMessage(self, record: logging.LogRecord) -> str:  # noqa: N802  the base's name
        """The line for people, before any traceback."""
        subjects = "".join(f" {name}={it}" for name, it in _subjects(record).items())
        return printable(super().formatMessage(record) + subjects)

    def formatException(self, ei: Any) -> str:  # noqa: N802  the base's name
        """The traceback; for people indented, so that no line of it looks like a record."""
        text = super().formatException(ei)
        if self.shape != "line":
            return text
        return "\n".join(f"  {printable(line)}" for line in text.split("\n"))

    def _fields(self, record: logging.LogRecord) -> dict[str, str]:
        fields = {
            "time": datetime.fromtimestamp(record.created, UTC).isoformat(timespec="milliseconds"),
            "level": record.levelname.lower(),
            "logger": record.name,
            "message": record.getMessage(),
            **_subjects(record),
        }
        if record.exc_info:
            fields["exception"] = self.formatException(record.exc_info)
        return fields


def _subjects(record: logging.LogRecord) -> dict[str, str]:
    given = {name: str(getattr(record, name)) for name in SUBJECTS if hasattr(record, name)}
    return (_about.get() or {}) | given


def _quoted(text: str) -> str:
    plain = text and all(sign.isprintable() and sign not in ' "=' for sign in text)
    return text if plain else printable(json.dumps(text, ensure_ascii=False))
