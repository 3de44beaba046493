"""The process that owns the private servers: ``python -m fleet.embedded.supervisor FOLDER``.

It speaks one line each way over a unix socket: a user asks for ``database`` and/or ``broker``
and is told, in JSON, that they are ready or why not. A user counts for as long as its
connection is open.
"""

from __future__ import annotations

import contextlib
import fcntl
import json
import logging
import os
import selectors
import signal
import socket
import sys
import time
from pathlib import Path

from fleet.embedded.broker import Broker
from fleet.embedded.errors import EmbeddedError
from fleet.embedded.place import Place, locate
from fleet.embedded.postgres import Postgres

log = logging.getLogger("supervisor")

_FIRST_USER_LIMIT_S = 10.0
_TRY_AGAIN_S = 5.0  # after a restart that failed; a user who asks is served at once
_LOOK_AGAIN_S = 0.5  # an adopted server sends no SIGCHLD
_LONGEST_LOG_BYTES = 5_000_000


class Supervisor:
    """Runs what its users ask for, restarts what dies, ends with the last user."""

    def __init__(self, place: Place) -> None:
        self.place = place
        self.told_to_stop = False
        self.services: dict[str, Postgres | Broker] = {
            "database": Postgres(place, lambda: self.told_to_stop),
            "broker": Broker(place, lambda: self.told_to_stop),
        }
        self.wanted: set[str] = set()
        self.failed_at: dict[str, float] = {}
        self.users: set[socket.socket] = set()
        self.selector = selectors.DefaultSelector()
        self.listener = socket.socket(socket.AF_UNIX)

    def run(self) -> None:
        """Serve until the last user is gone or a signal says stop."""
        self._open()
        try:
            self._loop()
        finally:
            self._close()

    def _open(self) -> None:
        for signum in (signal.SIGTERM, signal.SIGINT):
            signal.signal(signum, self._stop_on_signal)
        signal.signal(signal.SIGHUP, signal.SIG_IGN)
        signal.signal(signal.SIGCHLD, lambda *_: None)
        wake_reader, wake_writer = socket.socketpair()
        wake_reader.settimeout(0.0)
        wake_writer.settimeout(0.0)
        signal.set_wakeup_fd(wake_writer.fileno(), warn_on_full_buffer=False)
        self._wake = (wake_reader, wake_writer)
        self.selector.register(wake_reader, selectors.EVENT_READ)
        self.place.make_runtime()
        self.place.supervisor_socket.unlink(missing_ok=True)
        self.listener.bind(str(self.place.supervisor_socket))
        self.place.supervisor_socket.chmod(0o600)
        self.listener.listen(256)
        self.selector.register(self.listener, selectors.EVENT_READ)

    def _stop_on_signal(self, *_: object) -> None:
        self.told_to_stop = True

    def _loop(self) -> None:
        first_user_by = time.monotonic() + _FIRST_USER_LIMIT_S
        had_user = False
        while not self.told_to_stop:
            for key, _ in self.selector.select(_LOOK_AGAIN_S):
                self._serve(key.fileobj)  # type: ignore[arg-type]
            had_user = had_user or bool(self.users)
            if not self.users and (had_user or time.monotonic() > first_user_by):
                return
            self._tend()

    def _serve(self, ready: socket.socket) -> None:
        if ready is self.listener:
            user, _ = self.listener.accept()
            user.settimeout(5.0)
            self.users.add(user)
            self.selector.register(user, selectors.EVENT_READ)
        elif ready is self._wake[0]:
            with contextlib.suppress(BlockingIOError):
                ready.recv(4096)
        else:
            self._answer(ready)

    def _answer(self, user: socket.socket) -> None:
        try:
            names = user.recv(4096).decode().split()
            if not names:
                self._forget(user)
                return
            if names == ["leave"]:
                reply: dict[str, object] = {"others": len(self.users) - 1}
            else:
                self.wanted.update(name for name in names if name in self.services)
                reply = self._bring_up(names)
            user.sendall(f"{json.dumps(reply)}\n".encode())
        except OSError:
            self._forget(user)

    def _forget(self, user: socket.socket) -> None:
        self.selector.unregister(user)
        self.users.discard(user)
        user.close()

    def _bring_up(self, names: list[str]) -> dict[str, object]:
        for name in names:
            service = self.services.get(name)
            if service is None:
                return {"error": f"the supervisor knows no service {name!r}"}
            try:
                if not service.alive():
                    service.start()
                    log.info("%s is ready", name)
                self.failed_at.pop(name, None)
            except (EmbeddedError, OSError) as error:
                self.failed_at[name] = time.monotonic()
                log.error("%s: %s", name, error)
                return {"error": str(error)}
        return {"ready": names}

    def _tend(self) -> None:
        for name in self.wanted:
            if time.monotonic() - self.failed_at.get(name, -_TRY_AGAIN_S) < _TRY_AGAIN_S:
                continue
            if not self.services[name].alive():
                log.warning("%s died; restarting it", name)
                self._bring_up([name])

    def _close(self) -> None:
        # New users must not find the door while the servers go down: they wait for the lock.
        self.place.supervisor_socket.unlink(missing_ok=True)
        self.listener.close()
        for user in list(self.users):
            self._forget(user)
        self.services["broker"].stop()
        self.services["database"].stop()
        if self.place.root not in self.place.runtime.parents:
            for path in (*self.place.sockets.glob("*"), *self.place.sockets.glob(".s*")):
                path.unlink(missing_ok=True)
            with contextlib.suppress(OSError):
                self.place.sockets.rmdir()
                self.place.runtime.rmdir()


def _take_lock(path: Path) -> bool:
    """Hold the lock of this data folder until the process ends; False if another has it."""
    descriptor = os.open(path, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o600)
    until = time.monotonic() + 1.0  # users look by taking it shared for an instant
    while True:
        try:
            fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            if time.monotonic() > until:
                return False
            time.sleep(0.01)
        else:
            return True


def _open_log(place: Place) -> None:
    for path in place.log.glob("*.log"):
        if path.stat().st_size > _LONGEST_LOG_BYTES:
            path.replace(path.with_suffix(".log.1"))
    target = os.open(place.log / "supervisor.log", os.O_WRONLY | os.O_CREAT | os.O_APPEND, 0o600)
    os.dup2(target, 1)
    os.dup2(target, 2)
    logging.basicConfig(
        level=logging.INFO, stream=sys.stderr, format="%(asctime)s %(levelname)s %(message)s"
    )


def main(home: Path) -> int:
    """Supervise the stack of one data folder; return 0 if another already does."""
    os.chdir("/")
    place = locate(home)
    place.make()
    if not _take_lock(place.supervisor_lock):
        return 0
    _open_log(place)
    try:
        Supervisor(place).run()
    except Exception:
        log.exception("the supervisor failed")
        return 1
    return 0


if __name__ == "__main__":
    sys.exit(main(Path(sys.argv[1])))
