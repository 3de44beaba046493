"""The private Redis-compatible broker: a doorbell, never the keeper of anything."""

from __future__ import annotations

import contextlib
import logging
import shutil
import signal
import socket
import time

from fleet.embedded import binaries, children
from fleet.embedded.errors import EmbeddedError

log = logging.getLogger(__name__)

_NAMES = ("valkey", "redis")
_START_LIMIT_S = 20.0


class Broker(children.Server):
    """One broker process with its append-only file, which it writes before it stops."""

    stop_signals = ((signal.SIGTERM, 5.0),)

    def start(self) -> None:
        """Start the broker; set its data aside if they keep it from starting.

        Nothing is lost by that: the queue is the database, a sweeper rings again.
        """
        for leftover in children.working_in(self.place.broker, _NAMES):
            children.stop(leftover, *self.stop_signals)
        try:
            self._launch_and_wait()
        except EmbeddedError:
            if self.cancelled():
                raise
            log.warning("the broker does not start from its data; setting them aside")
            aside = self.place.root / "broker.broken"
            shutil.rmtree(aside, ignore_errors=True)
            self.place.broker.rename(aside)
            self._launch_and_wait()

    def _launch_and_wait(self) -> None:
        self.place.broker.mkdir(mode=0o700, exist_ok=True)
        self.place.give(self.place.broker)
        log_file = self.place.log / "broker.log"
        self.process = children.launch(
            self._arguments(),
            cwd=self.place.root,
            log=log_file,
            account=self.place.account,
            dies_by=signal.SIGTERM,
        )
        deadline = time.monotonic() + _START_LIMIT_S
        while time.monotonic() < deadline and self.alive() and not self.cancelled():
            if self._answers():
                return
            time.sleep(0.005)
        self.stop()
        raise EmbeddedError(f"the private broker did not start. See {log_file}.")

    def _arguments(self) -> list[str]:
        options = {
            "port": "0",
            "unixsocket": str(self.place.broker_socket),
            "unixsocketperm": "700",
            "dir": str(self.place.broker),
            "daemonize": "no",
            "loglevel": "warning",
            "save": "",
            "appendonly": "yes",
            "appendfsync": "everysec",
            "maxmemory": "256mb",
            "maxmemory-policy": "noeviction",
        }
        program = str(binaries.broker_program(self.place))
        flags = (part for name, value in options.items() for part in (f"--{name}", value))
        return [program, *flags]

    def _answers(self) -> bool:
        with contextlib.suppress(OSError), socket.socket(socket.AF_UNIX) as connection:
            connection.settimeout(1.0)
            connection.connect(str(self.place.broker_socket))
            connection.sendall(b"PING\r\n")
            return connection.recv(64).startswith(b"+PONG")
        return False
