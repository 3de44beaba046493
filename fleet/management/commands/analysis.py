"""``manage.py analysis``: what is told of every sample of a system, as a table in a file."""

from __future__ import annotations

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand

from fleet.analysis import table
from fleet.analysis.samples import per_sample
from fleet.management import table_file


class Command(BaseCommand):
    """Writes per-sample results."""

    help = "Write the per-sample results of a system to a .csv or .parquet file."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """The system, the span and the file."""
        parser.add_argument("system", metavar="SITE/SYSTEM")
        table_file.add_span_and_output(parser)

    def handle(self, **options: Any) -> None:
        """Analyse and write."""
        asked = table_file.requested(options)
        rows = table.of(per_sample(asked.system, asked.start, asked.end))
        table_file.write(rows, asked.output)
        table_file.note(asked, "analysis")
        self.stdout.write(f"{rows.height} samples of {asked.system} written to {asked.output}.")
