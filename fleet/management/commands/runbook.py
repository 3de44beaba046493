"""``manage.py runbook``: what to do when something fails, without a web server."""

from __future__ import annotations

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from fleet.management.arguments import REFUSED
from fleet.operations.runbook.leaves import leaf, leaves


class Command(BaseCommand):
    """Prints a page, or their names."""

    help = "Print what to do when something fails; without a name, list the pages."
    requires_system_checks: list[str] = []  # noqa: RUF012  it must work when nothing else does

    def add_arguments(self, parser: ArgumentParser) -> None:
        """NAME."""
        parser.add_argument("name", metavar="NAME", nargs="?")

    def handle(self, **options: Any) -> None:
        """Print it."""
        if options["name"] is None:
            for each in leaves():
                self.stdout.write(f"{each.name:<22}{each.title}")
            self.stderr.write(
                "In containers: docker compose run --rm migrate python manage.py … in place of "
                "python manage.py …"
            )
            return
        found = leaf(options["name"])
        if found is None:
            names = ", ".join(each.name for each in leaves())
            raise CommandError(
                f"the runbook has no page {options['name']!r}; it has {names}.", returncode=REFUSED
            )
        self.stdout.write(found.text)
