"""``manage.py backup``: writes the whole database into a folder."""

from __future__ import annotations

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from fleet.management.arguments import REFUSED
from fleet.operations.copies import DUMP, CopyError, backup


class Command(BaseCommand):
    """Makes a backup while everything goes on."""

    help = "Write the database into a new folder, with counts and checksums to restore it by."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """FOLDER."""
        parser.add_argument("folder", metavar="FOLDER", type=Path)

    def handle(self, **options: Any) -> None:
        """Make it and say how large it is."""
        folder: Path = options["folder"].absolute()
        try:
            made = backup(folder, timezone.now())
        except (CopyError, OSError) as error:
            raise CommandError(str(error), returncode=REFUSED) from error
        rows = sum(content.rows for content in made.tables.values())
        size = (folder / DUMP).stat().st_size / 1e6
        self.stdout.write(
            f"{folder}: {rows} rows of {len(made.tables)} tables as of {made.at}, {size:.1f} MB. "
            "The secret key is not in it: after a restore people sign in again."
        )
