"""``manage.py up``: the whole embedded stack for real use."""

from __future__ import annotations

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from fleet.embedded import EmbeddedError
from fleet.management import serving


class Command(BaseCommand):
    """Keeps database, broker, worker, scheduler and web server running until interrupted."""

    help = "Run the whole embedded stack: database, broker, worker, scheduler, web server."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """--port."""
        serving.add_port(parser, "web server")

    def handle(self, *, port: int, **_: Any) -> None:
        """Serve."""
        try:
            serving.serve(port, self.stdout, "Millrace is at {} - Ctrl-C stops it.".format)
        except EmbeddedError as error:
            raise CommandError(str(error)) from error
