"""``manage.py load_site``: registers site folders and takes in their uploads."""

from __future__ import annotations

from argparse import ArgumentParser
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand

from fleet.ingest.manifest import FILE_NAME, ManifestError, register
from fleet.management.arguments import known_organisation
from fleet.management.intake import File, Intake
from fleet.models import Site

SUFFIXES = (".csv", ".csv.gz")


class Command(BaseCommand):
    """Registers sites and takes in what their folders hold."""

    help = "Register each folder's manifest (site.toml) and take in its uploads."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Folders, --wait and --organisation."""
        parser.add_argument("folders", metavar="DIR", nargs="+", type=Path)
        parser.add_argument(
            "--wait", action="store_true", help="return when everything is analysed"
        )
        parser.add_argument(
            "--organisation", metavar="CODE", help="whose sites they are (default: default)"
        )

    def handle(self, **options: Any) -> None:
        """Register, take in, and analyse or have it analysed."""
        intake = Intake(self.stdout, self.stderr)
        code = options["organisation"]
        organisation = known_organisation(code) if code else None
        files: list[File] = []
        for folder in options["folders"]:
            try:
                site = register(folder, organisation)
            except ManifestError as error:
                intake.refuse(str(folder), str(error))
                continue
            self.stdout.write(f"{folder}: registered {site.code}")
            intake.systems |= set(site.systems.values_list("id", flat=True))
            files += self._files(folder, site, intake)
        intake.take(files)
        intake.finish(wait=options["wait"])

    def _files(self, folder: Path, site: Site, intake: Intake) -> Iterator[File]:
        """Uploads in a site's folder by system; what is neither is refused or passed over."""
        systems = {system.code: system for system in site.systems.select_related("site")}
        for path in sorted(folder.iterdir()):
            if path.name == FILE_NAME or path.name.startswith("."):
                continue
            if path.is_dir() and path.name in systems:
                system = systems[path.name]
                for file in sorted(path.iterdir()):
                    if file.is_file() and file.name.lower().endswith(SUFFIXES):
                        yield File(file, system, f"{system}/{file.name}")
                    elif not file.name.startswith("."):
                        self.stderr.write(f"{file}: passed over: uploads end in .csv or .csv.gz")
            elif path.is_dir():
                known = ", ".join(sorted(systems))
                intake.refuse(str(path), f"no system of {site.code} has this code; it has {known}")
            else:
                self.stderr.write(f"{path}: passed over: uploads lie in a folder of their system")
