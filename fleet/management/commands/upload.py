"""``manage.py upload``: takes in single files of a registered system."""

from __future__ import annotations

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand

from fleet.management.arguments import registered_system
from fleet.management.intake import File, Intake


class Command(BaseCommand):
    """Takes files in."""

    help = "Take in files (.csv, gzip or not) of a registered system."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """System, files, --wait and --replace."""
        parser.add_argument("system", metavar="SITE/SYSTEM")
        parser.add_argument("files", metavar="FILE", nargs="+", type=Path)
        parser.add_argument(
            "--wait", action="store_true", help="return when everything is analysed"
        )
        parser.add_argument(
            "--replace",
            action="store_true",
            help="overwrite stored values that differ, and say how many",
        )

    def handle(self, **options: Any) -> None:
        """Take in, and analyse or have it analysed."""
        system = registered_system(options["system"])
        intake = Intake(self.stdout, self.stderr)
        files = [File(file, system, str(file)) for file in options["files"]]
        intake.take(files, replace=options["replace"])
        intake.finish(wait=options["wait"])
