"""``manage.py export``: samples, per-sample results or windows of a system, as a file."""

from __future__ import annotations

from argparse import ArgumentParser
from datetime import datetime
from pathlib import Path
from typing import Any

import polars as pl
from django.core.management.base import BaseCommand, CommandError

from fleet.analysis import export, table, window_rows
from fleet.analysis.instants import to_64
from fleet.analysis.samples import per_sample
from fleet.management.arguments import REFUSED, WRONG_USAGE, moment, registered_system
from fleet.models import System

SUFFIXES = (".csv", ".parquet")
KINDS = ("samples", "analysis", "windows")


class Command(BaseCommand):
    """Writes what is known of a system."""

    help = "Write samples, per-sample results or windows of a system to a .csv or .parquet file."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """The system, what of it, the span and the file."""
        parser.add_argument("system", metavar="SITE/SYSTEM")
        parser.add_argument("what", choices=KINDS)
        parser.add_argument("--start", required=True, metavar="TIME", help="first time, RFC 3339")
        parser.add_argument("--end", required=True, metavar="TIME", help="end, not included")
        parser.add_argument("--output", required=True, metavar="FILE", help=".csv or .parquet")

    def handle(self, **options: Any) -> None:
        """Read and write."""
        start, end = moment("--start", options["start"]), moment("--end", options["end"])
        if not start < end:
            raise CommandError("--end must be later than --start.", returncode=WRONG_USAGE)
        output = Path(options["output"])
        if output.suffix not in SUFFIXES:
            raise CommandError(
                f"--output {output.name}: the name must end in .csv or .parquet.",
                returncode=WRONG_USAGE,
            )
        system = registered_system(options["system"])
        rows = _rows(options["what"], system, start, end)
        try:
            if output.suffix == ".csv":
                text = table.to_csv(export.harmless(rows))
                output.write_text(text, encoding="utf-8", newline="")
            else:
                rows.write_parquet(output)
        except OSError as error:
            raise CommandError(
                f"cannot write {output}: {error.strerror or error}.", returncode=REFUSED
            ) from error
        self.stdout.write(f"{rows.height} rows of {system} written to {output}.")


def _rows(what: str, system: System, start: datetime, end: datetime) -> pl.DataFrame:
    if what == "samples":
        return export.samples(system, start, end)
    if what == "analysis":
        return table.of(per_sample(system, start, end))
    return export.windows(window_rows.load(system.pk).between(to_64(start), to_64(end)))
