"""A user's side: join the supervisor of the data folder, or start it."""

from __future__ import annotations

import contextlib
import fcntl
import json
import os
import socket
import sys
import threading
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from fleet.embedded.errors import EmbeddedError
from fleet.embedded.place import Place, locate, tail

_ANSWER_LIMIT_S = 180.0  # the server's own limit for recovery is 120 s
_JOIN_LIMIT_S = 60.0
_STOP_LIMIT_S = 20.0
_SAY_SO_AFTER_S = 3.0


class _Membership:
    """This process's open connection to a supervisor."""

    def __init__(self) -> None:
        self.lock = threading.Lock()
        self.place: Place | None = None
        self.connection: socket.socket | None = None
        self.kept: list[socket.socket] = []
        self.spawned: list[int] = []

    def after_fork(self) -> None:
        """A forked child stays counted by the inherited connection but speaks on its own."""
        self.lock = threading.Lock()
        if self.connection:
            self.kept.append(self.connection)
        self.connection = None
        self.spawned = []

    def ask(self, place: Place, names: list[str]) -> None:
        """Return when the named servers are ready; join or start the supervisor as needed."""
        if self.place != place:
            self.leave()
            self.place = place
        until = time.monotonic() + _JOIN_LIMIT_S
        while time.monotonic() < until:
            if self.connection is None:
                self.connection = _connect(place)
            if self.connection is not None:
                answer = self._request(names, place)
                if answer is not None:
                    if "error" in answer:
                        raise EmbeddedError(answer["error"])
                    return
            self._spawn_if_none(place)
            time.sleep(0.01)
        raise EmbeddedError(
            f"no supervisor of the private servers answers. See {place.log / 'supervisor.log'}."
        )

    def leave(self) -> Place | None:
        """Stop being counted; return the place if nobody else is, so that its servers stop."""
        if self.connection is None or self.place is None:
            return None
        answer = self._request(["leave"], self.place)
        self._hang_up()
        return None if answer and answer["others"] else self.place

    def _request(self, names: list[str], place: Place) -> dict[str, Any] | None:
        """Ask and return the answer; hang up when there is none, lest it come to the next."""
        answer = None
        try:
            answer = _exchange(self.connection, names, place) if self.connection else None
        finally:
            if answer is None:  # it was shutting down, was killed, or we were interrupted
                self._hang_up()
        return answer

    def _hang_up(self) -> None:
        if self.connection:
            self.connection.close()
        self.connection = None

    def _spawn_if_none(self, place: Place) -> None:
        """Start a supervisor unless one lives or another user is just starting it."""
        self.reap()
        place.make()
        with _lock(place.spawn_lock, fcntl.LOCK_EX) as ours:
            if not ours or not _is_free(place.supervisor_lock):
                return
            pid = _spawn(place.home)
            self.spawned.append(pid)
            until = time.monotonic() + 10.0
            while pid in self.spawned and time.monotonic() < until:
                if not _is_free(place.supervisor_lock):
                    return
                time.sleep(0.005)
                self.reap()

    def reap(self) -> None:
        """Take leave of supervisors we started that ended; say so if one failed."""
        for pid in list(self.spawned):
            status = 0
            with contextlib.suppress(ChildProcessError):
                ended, status = os.waitpid(pid, os.WNOHANG)
                if not ended:
                    continue
            self.spawned.remove(pid)
            if os.waitstatus_to_exitcode(status) > 0 and self.place:
                log_file = self.place.log / "supervisor.log"
                raise EmbeddedError(
                    f"the supervisor of the private servers failed. Last lines of {log_file}:\n"
                    + tail(log_file)
                )


_membership = _Membership()
os.register_at_fork(after_in_child=_membership.after_fork)


def ensure() -> None:
    """Have the private servers running for as long as this process lives.

    Does nothing for a server whose address the environment gives (``DATABASE_URL``,
    ``REDIS_URL``). Safe to call often (about 0.1 ms) and from threads and forked children; a
    call after the supervisor or a server died brings it back.

    Raises:
        EmbeddedError: they cannot be started; the message says why and what to do.
    """
    names = [
        name
        for name, url in (("database", "DATABASE_URL"), ("broker", "REDIS_URL"))
        if not os.environ.get(url)
    ]
    if names:
        with _membership.lock:
            _membership.ask(locate(), names)


def release() -> None:
    """Leave now instead of at the end of the process, and wait for a stop if we were the last."""
    with _membership.lock:
        last = _membership.leave()
        until = time.monotonic() + _STOP_LIMIT_S
        while last and not _is_free(last.supervisor_lock) and time.monotonic() < until:
            time.sleep(0.01)
        _membership.reap()


def broker_url() -> str:
    """Return Celery's address of the broker: ``REDIS_URL``, else the private one's socket."""
    if url := os.environ.get("REDIS_URL"):
        return url
    return f"redis+socket://{locate().broker_socket}?virtual_host=0"


def _connect(place: Place) -> socket.socket | None:
    connection = socket.socket(socket.AF_UNIX)
    try:
        connection.connect(str(place.supervisor_socket))
    except (FileNotFoundError, NotADirectoryError, ConnectionRefusedError):
        connection.close()
        return None
    except PermissionError as error:
        connection.close()
        raise EmbeddedError(
            f"{place.supervisor_socket} belongs to another user; set MILLRACE_DATA to a folder "
            "of your own."
        ) from error
    return connection


def _exchange(connection: socket.socket, names: list[str], place: Place) -> dict[str, Any] | None:
    """Ask and return the answer; None if the supervisor went away."""
    answer = b""
    asked_at = time.monotonic()
    told = False
    connection.settimeout(_SAY_SO_AFTER_S)
    try:
        connection.sendall(f"{' '.join(names)}\n".encode())
        while not answer.endswith(b"\n"):
            try:
                part = connection.recv(65536)
            except TimeoutError:
                if time.monotonic() - asked_at > _ANSWER_LIMIT_S:
                    raise EmbeddedError(
                        f"the private servers were not ready in {_ANSWER_LIMIT_S:.0f} s. "
                        f"See {place.log}."
                    ) from None
                if not told:
                    sys.stderr.write("Waiting for the private database to start or recover …\n")
                told = True
                continue
            if not part:
                return None
            answer += part
    except (BrokenPipeError, ConnectionResetError):
        return None
    reply: dict[str, Any] = json.loads(answer)
    return reply


@contextlib.contextmanager
def _lock(path: Path, kind: int) -> Iterator[bool]:
    descriptor = os.open(path, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o600)
    try:
        fcntl.flock(descriptor, kind | fcntl.LOCK_NB)
        yield True
    except BlockingIOError:
        yield False
    finally:
        os.close(descriptor)


def _is_free(path: Path) -> bool:
    with _lock(path, fcntl.LOCK_SH) as free:
        return free


def _spawn(home: Path) -> int:
    """Start a supervisor in a session of its own, so that a terminal's Ctrl-C spares it."""
    package_parent = str(Path(__file__).parents[2])
    paths = (package_parent, os.environ.get("PYTHONPATH", ""))
    environment = os.environ | {"PYTHONPATH": os.pathsep.join(filter(None, paths))}
    return os.posix_spawn(
        sys.executable,
        [sys.executable, "-P", "-m", "fleet.embedded.supervisor", str(home)],
        environment,
        file_actions=[
            (os.POSIX_SPAWN_OPEN, 0, os.devnull, os.O_RDONLY, 0),
            (os.POSIX_SPAWN_OPEN, 1, os.devnull, os.O_WRONLY, 0),
        ],
        setsid=True,
    )
