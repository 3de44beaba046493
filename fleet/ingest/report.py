"""What was wrong with an upload: refusals, and complaints listed while the rest goes on."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from fleet.ingest.limits import MAX_REASONS
from fleet.logs import printable

SHOWN_TITLE, SHOWN_REASON = 200, 1_000
"""Characters kept of a title and of a reason: a file may call a column what it likes."""


class RefusedError(Exception):
    """The upload cannot be read at all; nothing of it may reach the samples."""

    def __init__(self, reason: str, *, line: int | None = None, column: str = "") -> None:
        """Says what is wrong and what to do, and where in the file it is."""
        self.complaint = Complaint(line, column, reason)
        super().__init__(reason)


@dataclass(frozen=True)
class Complaint:
    """One thing wrong. ``line`` counts from 1 (the header); ``column`` is its header's text."""

    line: int | None
    column: str
    reason: str

    def __post_init__(self) -> None:
        """What is quoted from the file is kept short and on one line."""
        object.__setattr__(self, "column", shown(self.column, SHOWN_TITLE))
        object.__setattr__(self, "reason", shown(self.reason, SHOWN_REASON))

    def __str__(self) -> str:
        """Where and what, as a command prints it."""
        where = [f"line {self.line}"] if self.line else []
        where += [self.column] if self.column else []
        return f"{', '.join(where)}: {self.reason}" if where else self.reason

    def as_json(self) -> dict[str, Any]:
        """The shape kept in ``Upload.reasons``."""
        return {"line": self.line, "column": self.column, "reason": self.reason}


def shown(text: str, most: int) -> str:
    """A text from outside as it can be printed, cut where it is too long."""
    return printable(text if len(text) <= most else f"{text[: most - 1]}…")


@dataclass
class Report:
    """Counts of everything and the first complaints, by line."""

    rows_accepted: int = 0
    rows_left_out: int = 0
    cells_left_out: int = 0
    cells_differing: int = 0
    cells_replaced: int = 0
    unknown_columns: list[str] = field(default_factory=list)
    _complaints: list[Complaint] = field(default_factory=list)

    def complain(self, line: int, column: str, reason: str) -> None:
        """Note something to list. Callers need not pass more than the first 100 of a kind."""
        self._complaints.append(Complaint(line, column, reason))
        if len(self._complaints) > 20 * MAX_REASONS:
            self._complaints = self.complaints()

    def complaints(self) -> list[Complaint]:
        """The first 100 complaints in the order of lines."""
        return sorted(self._complaints, key=lambda each: each.line or 0)[:MAX_REASONS]
