"""``manage.py retain``: removes logs older than they have to be."""

from __future__ import annotations

from argparse import ArgumentParser
from datetime import timedelta
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.db import OperationalError
from django.utils import timezone

from fleet.management.arguments import REFUSED, WRONG_USAGE
from fleet.operations import retention

FEWEST_DAYS = 30
"""Learning what is normal for a system reads its last weeks; younger logs are never removed."""


class Command(BaseCommand):
    """Says what would be removed; removes it with --yes."""

    help = "Remove samples and upload bodies older than so many days. Says what, unless --yes."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """--older-than DAYS and --yes."""
        parser.add_argument("--older-than", metavar="DAYS", type=int, required=True)
        parser.add_argument("--yes", action="store_true", help="do it; there is no way back")

    def handle(self, **options: Any) -> None:
        """Look, say, and do it if asked to."""
        if options["older_than"] < FEWEST_DAYS:
            raise CommandError(
                f"--older-than {options['older_than']}: at least {FEWEST_DAYS} days are kept.",
                returncode=WRONG_USAGE,
            )
        found = retention.expired(timedelta(days=options["older_than"]), timezone.now())
        old = found.samples
        if old.boundary is None or not (old.rows or found.uploads):
            self.stdout.write("Nothing is that old. Samples go by whole weeks.")
            return
        what = (
            f"{old.rows} rows of samples on {old.days} days of {old.systems} systems and the "
            f"bytes of {found.uploads} uploads ({found.upload_bytes / 1e6:.1f} MB), all before "
            f"{old.boundary}"
        )
        if not options["yes"]:
            self.stdout.write(f"Would remove {what}. Nothing is done without --yes.")
            return
        try:
            retention.let_go(old.boundary)
        except OperationalError as error:
            raise CommandError(
                f"the samples are in use, nothing was removed: {error} Try again.",
                returncode=REFUSED,
            ) from error
        self.stdout.write(f"Removed {what}. Results, events and reports are kept.")
