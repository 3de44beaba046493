"""``manage.py analysis``: what is told of every sample of a system, as a table in a file."""

from __future__ import annotations

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from fleet.analysis import table
from fleet.analysis.samples import per_sample
from fleet.management.arguments import REFUSED, WRONG_USAGE, moment, registered_system

SUFFIXES = (".csv", ".parquet")


class Command(BaseCommand):
    """Writes per-sample results."""

    help = "Write the per-sample results of a system to a .csv or .parquet file."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """The system, the span and the file."""
        parser.add_argument("system", metavar="SITE/SYSTEM")
        parser.add_argument("--start", required=True, metavar="TIME", help="first time, RFC 3339")
        parser.add_argument("--end", required=True, metavar="TIME", help="end, not included")
        parser.add_argument("--output", required=True, metavar="FILE", help=".csv or .parquet")

    def handle(self, **options: Any) -> None:
        """Analyse and write."""
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
        rows = table.of(per_sample(system, start, end))
        try:
            if output.suffix == ".csv":
                output.write_text(table.to_csv(rows), encoding="utf-8", newline="")
            else:
                rows.write_parquet(output)
        except OSError as error:
            raise CommandError(
                f"cannot write {output}: {error.strerror or error}.", returncode=REFUSED
            ) from error
        self.stdout.write(f"{rows.height} samples of {system} written to {output}.")
