"""``manage.py up``: the whole embedded stack for real use."""

from __future__ import annotations

import signal
import threading
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from fleet.embedded import EmbeddedError
from fleet.embedded.processes import running_services


class Command(BaseCommand):
    """Keeps database, broker, worker, scheduler and web server running until interrupted."""

    help = "Run the whole embedded stack: database, broker, worker, scheduler, web server."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument(
            "--port",
            type=int,
            default=8000,
            choices=range(65536),
            metavar="N",
            help="port of the web server on 127.0.0.1 (default 8000; 0 takes a free one)",
        )

    def handle(self, *, port: int, **_: Any) -> None:
        interrupted = threading.Event()
        for signum in (signal.SIGINT, signal.SIGTERM):
            signal.signal(signum, lambda *_: interrupted.set())
        try:
            with running_services(port) as address:
                self.stdout.write(f"Millrace is at {address} - Ctrl-C stops it.")
                self.stdout.flush()
                interrupted.wait()
                self.stdout.write("Stopping …")
        except EmbeddedError as error:
            raise CommandError(str(error)) from error
