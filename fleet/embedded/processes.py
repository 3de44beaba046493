"""Run the whole stack in the foreground: worker, scheduler and web server, kept alive."""

from __future__ import annotations

import contextlib
import http.client
import logging
import os
import signal
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field

from django.core.management import call_command

from fleet.embedded.children import KEEPER
from fleet.embedded.client import ensure
from fleet.embedded.errors import EmbeddedError

log = logging.getLogger(__name__)

HOST = "127.0.0.1"
_LOOK_EVERY_S = 0.5
_LONGEST_PAUSE_S = 30.0
_HEALTHY_AFTER_S = 20.0
_WEB_READY_LIMIT_S = 60.0


@dataclass
class Service:
    """One process to keep alive; started again after a pause that doubles while it fails."""

    name: str
    argv: Sequence[str]
    stop_within_s: float
    environment: Mapping[str, str] = field(default_factory=dict)
    descriptors: Sequence[int] = ()
    process: subprocess.Popen[bytes] | None = None
    started_at: float = 0.0
    due_at: float | None = None
    pause_s: float = 0.0

    def start(self) -> None:
        """Start it in a session of its own: a terminal's Ctrl-C reaches only the keeper."""
        self.started_at, self.due_at = time.monotonic(), None
        self.process = subprocess.Popen(
            [sys.executable, *self.argv],
            stdin=subprocess.DEVNULL,
            env={**os.environ, **self.environment, KEEPER: str(os.getpid())},
            pass_fds=self.descriptors,
            start_new_session=True,
        )

    def tend(self) -> None:
        """Start it again if it ended."""
        if self.process is None or self.process.poll() is None:
            return
        now = time.monotonic()
        if self.due_at is None:
            ran_s = now - self.started_at
            if ran_s > _HEALTHY_AFTER_S:
                self.pause_s = 0.0
            log.warning(
                "the %s ended (status %s) after %.0f s; starting it again in %.0f s",
                self.name,
                self.process.returncode,
                ran_s,
                self.pause_s,
            )
            self.due_at = now + self.pause_s
            self.pause_s = min(max(2 * self.pause_s, 1.0), _LONGEST_PAUSE_S)
        if now >= self.due_at:
            self.start()

    def stop(self) -> None:
        """Ask it to end, then insist."""
        if self.process is None:
            return
        self.process.terminate()
        try:
            self.process.wait(self.stop_within_s)
        except subprocess.TimeoutExpired:
            log.warning("the %s did not end in %.0f s; killing it", self.name, self.stop_within_s)
            with contextlib.suppress(ProcessLookupError):
                os.killpg(self.process.pid, signal.SIGKILL)
            self.process.wait()


class Keeper(threading.Thread):
    """Looks after services, and after the private servers' supervisor, until told to stop."""

    def __init__(self, services: Sequence[Service]) -> None:
        super().__init__(name="keeper", daemon=True)
        self.services = services
        self.stopping = threading.Event()

    def run(self) -> None:
        # All starts happen in this thread: a process bound to its parent's end is bound, in
        # Linux, to the thread that started it.
        for service in self.services:
            service.start()
        while not self.stopping.wait(_LOOK_EVERY_S):
            try:
                ensure()
                for service in self.services:
                    service.tend()
            except (EmbeddedError, OSError) as error:
                log.error("%s", error)
        for service in reversed(self.services):
            service.stop()

    def stop(self) -> None:
        """Stop the services, last started first, and wait for their end."""
        self.stopping.set()
        self.join()


@contextlib.contextmanager
def running_services(port: int) -> Iterator[str]:
    """Run database, broker, worker, scheduler and web server; yields the web server's address.

    The tables are migrated first. Port 0 takes a free one. A process that dies is started
    again. On leaving the block the web server, the scheduler and the worker end in this order;
    database and broker end with this process if no other uses them.

    Raises:
        EmbeddedError: the port is taken, or a server cannot be started.
    """
    with listen(port) as listener:
        ensure()
        call_command("migrate", interactive=False, verbosity=0)
        keeper = Keeper([_worker(), _scheduler(), _web_server(listener.fileno())])
        keeper.start()
        try:
            yield _wait_for_web(listener)
        finally:
            keeper.stop()


def _worker() -> Service:
    return Service(
        name="worker",
        argv=[
            *_celery("worker"),
            f"--concurrency={os.cpu_count() or 1}",
            "--hostname=worker@%h",
            "--without-gossip",
            "--without-mingle",
            "--without-heartbeat",
        ],
        # SIGTERM then means: finish what runs within the soft limit, let the rest go
        environment={"REMAP_SIGTERM": "SIGQUIT"},
        stop_within_s=15.0,
    )


def _scheduler() -> Service:
    # Its state is kept in memory: due work is computed from the database.
    return Service(
        name="scheduler",
        argv=[*_celery("beat"), "--pidfile="],
        stop_within_s=5.0,
    )


def _web_server(descriptor: int) -> Service:
    return Service(
        name="web server",
        argv=["-m", "fleet.embedded.web", str(descriptor)],
        descriptors=[descriptor],
        stop_within_s=10.0,
    )


def _celery(command: str) -> list[str]:
    quiet_root = "ignore:You're running the worker with superuser:UserWarning"
    return [
        "-W",
        quiet_root,
        "-m",
        "celery",
        "--quiet",
        "--app=fleet",
        command,
        "--loglevel=WARNING",
    ]


def listen(port: int) -> socket.socket:
    """A socket that listens at the port. Raises EmbeddedError: it cannot be had."""
    listener = socket.socket(socket.AF_INET)
    listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listener.bind((HOST, port))
        listener.listen(128)
    except OSError as error:
        listener.close()
        raise EmbeddedError(
            f"cannot listen at {HOST}:{port}: {error.strerror}. Choose another with --port."
        ) from error
    return listener


def _wait_for_web(listener: socket.socket) -> str:
    """Return the address once an answer, of whatever status, came from it."""
    port = listener.getsockname()[1]
    connection = http.client.HTTPConnection(HOST, port, timeout=_WEB_READY_LIMIT_S)
    try:
        connection.request("HEAD", "/healthz")
        connection.getresponse().read()
    except (OSError, http.client.HTTPException) as error:
        raise EmbeddedError(f"the web server at {HOST}:{port} does not answer: {error}") from error
    finally:
        connection.close()
    return f"http://{HOST}:{port}/"
