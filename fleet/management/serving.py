"""What ``up`` and ``demo`` share: the port, and serving until somebody ends it."""

from __future__ import annotations

import signal
import threading
from argparse import ArgumentParser
from collections.abc import Callable

from django.core.management.base import OutputWrapper

from fleet.embedded.processes import HOST, running_services


def add_port(parser: ArgumentParser, what: str) -> None:
    """--port; ``what`` is served there."""
    parser.add_argument(
        "--port",
        type=int,
        default=8000,
        choices=range(65536),
        metavar="N",
        help=f"port of the {what} on {HOST} (default 8000; 0 takes a free one)",
    )


def serve(port: int, out: OutputWrapper, said: Callable[[str], str]) -> None:
    """Run the whole stack until Ctrl-C or SIGTERM; ``said`` of its address is written out.

    Raises EmbeddedError: the port is taken, or a server cannot be started.
    """
    interrupted = threading.Event()
    for signum in (signal.SIGINT, signal.SIGTERM):
        signal.signal(signum, lambda *_: interrupted.set())
    with running_services(port) as address:
        out.write(said(address))
        out.flush()
        interrupted.wait()
        out.write("Stopping …")
