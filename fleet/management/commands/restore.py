"""``manage.py restore``: fills an empty database from a backup."""

from __future__ import annotations

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from fleet.management.arguments import REFUSED
from fleet.operations.copies import CopyError, restore


class Command(BaseCommand):
    """Restores a backup and checks it."""

    help = "Fill the empty database from a backup, and check every table against what it held."
    requires_migrations_checks = False

    def add_arguments(self, parser: ArgumentParser) -> None:
        """FOLDER."""
        parser.add_argument("folder", metavar="FOLDER", type=Path)

    def handle(self, **options: Any) -> None:
        """Restore it and say that it is the same."""
        try:
            made = restore(options["folder"])
        except (CopyError, OSError) as error:
            raise CommandError(str(error), returncode=REFUSED) from error
        rows = sum(content.rows for content in made.tables.values())
        self.stdout.write(
            f"Restored {rows} rows of {len(made.tables)} tables as of {made.at}; counts and "
            "checksums are equal. Run migrate if this release is newer."
        )
