"""A table of one system over a span of time, written to a file: what such commands share."""

from __future__ import annotations

from argparse import ArgumentParser
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

import polars as pl
from django.core.management.base import CommandError

from fleet.analysis import table
from fleet.management.arguments import REFUSED, WRONG_USAGE, moment, registered_system
from fleet.models import AuditEntry, System

SUFFIXES = (".csv", ".parquet")


@dataclass(frozen=True)
class Request:
    """Which system, from ``start`` (included) to ``end`` (not included), into which file."""

    system: System
    start: datetime
    end: datetime
    output: Path


def add_span_and_output(parser: ArgumentParser) -> None:
    """The span and the file."""
    parser.add_argument("--start", required=True, metavar="TIME", help="first time, RFC 3339")
    parser.add_argument("--end", required=True, metavar="TIME", help="end, not included")
    parser.add_argument("--output", required=True, metavar="FILE", help=".csv or .parquet")


def requested(options: Mapping[str, Any]) -> Request:
    """What was asked for. Raises CommandError: status 2 on wrong usage, 1 unknown system."""
    start, end = moment("--start", options["start"]), moment("--end", options["end"])
    if not start < end:
        raise CommandError("--end must be later than --start.", returncode=WRONG_USAGE)
    output = Path(options["output"])
    if output.suffix not in SUFFIXES:
        raise CommandError(
            f"--output {output.name}: the name must end in .csv or .parquet.",
            returncode=WRONG_USAGE,
        )
    return Request(registered_system(options["system"]), start, end, output)


def note(asked: Request, what: str) -> None:
    """Write down that data were taken out."""
    organisation = asked.system.site.client.organisation_id
    AuditEntry.objects.by_command(f"exported {what} of", asked.system, organisation)


def write(rows: pl.DataFrame, output: Path) -> None:
    """Write ``rows`` in the format of the file's name. Raises CommandError with status 1."""
    try:
        if output.suffix == ".csv":
            output.write_text(table.to_csv(rows), encoding="utf-8", newline="")
        else:
            rows.write_parquet(output)
    except OSError as error:
        raise CommandError(
            f"cannot write {output}: {error.strerror or error}.", returncode=REFUSED
        ) from error
