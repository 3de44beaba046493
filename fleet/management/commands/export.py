"""``manage.py export``: samples, per-sample results or windows of a system, as a file."""

from __future__ import annotations

from argparse import ArgumentParser
from typing import Any

import polars as pl
from django.core.management.base import BaseCommand

from fleet.analysis import export, table, window_rows
from fleet.analysis.samples import per_sample
from fleet.instants import to_64
from fleet.management import table_file
from fleet.management.table_file import Request

KINDS = ("samples", "analysis", "windows")


class Command(BaseCommand):
    """Writes what is known of a system."""

    help = "Write samples, per-sample results or windows of a system to a .csv or .parquet file."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """The system, what of it, the span and the file."""
        parser.add_argument("system", metavar="SITE/SYSTEM")
        parser.add_argument("what", choices=KINDS)
        table_file.add_span_and_output(parser)

    def handle(self, **options: Any) -> None:
        """Read and write; cells that a spreadsheet would run are made harmless in a CSV."""
        asked = table_file.requested(options)
        rows = _rows(options["what"], asked)
        harmless = export.harmless(rows) if asked.output.suffix == ".csv" else rows
        table_file.write(harmless, asked.output)
        table_file.note(asked, options["what"])
        self.stdout.write(f"{rows.height} rows of {asked.system} written to {asked.output}.")


def _rows(what: str, asked: Request) -> pl.DataFrame:
    if what == "samples":
        return export.samples(asked.system, asked.start, asked.end)
    if what == "analysis":
        return table.of(per_sample(asked.system, asked.start, asked.end))
    windows = window_rows.load(asked.system.pk)
    return export.windows(windows.between(to_64(asked.start), to_64(asked.end)))
