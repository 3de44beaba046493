"""The private PostgreSQL: make the cluster, start, recover, stop."""

from __future__ import annotations

import contextlib
import logging
import os
import secrets
import shutil
import signal
import subprocess
import time
from collections.abc import Iterator
from pathlib import Path

import psutil

from fleet.embedded import binaries, children
from fleet.embedded.errors import EmbeddedError
from fleet.embedded.place import (
    DATABASE_NAME,
    DATABASE_USER,
    SOCKET_PORT,
    Place,
    tail,
    write_private,
)

log = logging.getLogger(__name__)

RECOVERY_LIMIT_S = 120.0  # about 500 MB of log a second; max_wal_size bounds it at 1 GB
_NAMES = ("postgres", "postmaster")
_NO_SUCH_PID = 2**30  # above any pid_max
_BUILTIN_LOCALE_SINCE = 17

_SETTINGS = {
    "listen_addresses": "",
    "port": str(SOCKET_PORT),
    "unix_socket_permissions": "0700",
    "fsync": "on",
    "synchronous_commit": "on",
    "full_page_writes": "on",
    "max_wal_size": "1GB",
    "shared_buffers": "256MB",
    "work_mem": "16MB",
    "maintenance_work_mem": "128MB",
    "effective_cache_size": "1GB",
    "max_connections": "100",
    "jit": "off",
    "timezone": "UTC",
    "log_timezone": "UTC",
    "log_checkpoints": "off",
}
_TIMESCALE_SETTINGS = {
    "shared_preload_libraries": "timescaledb",
    "timescaledb.telemetry_level": "off",
}


class Postgres(children.Server):
    """One cluster and, while it runs, its postmaster."""

    stop_signals = ((signal.SIGINT, 10.0), (signal.SIGQUIT, 5.0))  # fast, then immediate shutdown

    def start(self) -> None:
        """Make the cluster if absent, adopt a running postmaster or start one, wait for it.

        Raises:
            EmbeddedError: another major version's cluster, or no answer within the limit.
        """
        folder = binaries.postgres_folder(self.place)
        major = binaries.version_of(folder / "postgres", self.place.account)[0]
        if not self.place.cluster.exists():
            _make_cluster(self.place, folder, major)
        _refuse_other_major(self.place.cluster, major)
        deadline = time.monotonic() + RECOVERY_LIMIT_S
        self.process = self._adopt() or self._launch(folder)
        self._wait_until_ready(deadline)

    def _adopt(self) -> psutil.Process | None:
        """Return the postmaster a killed supervisor left, if it is fit; clear up what is not."""
        if not (self.place.cluster / "postmaster.pid").exists():
            return None
        lines = self._pid_file()
        found = children.works_in(_integer(_field(lines, 0)), self.place.cluster, _NAMES)
        if found and _field(lines, 4) == str(self.place.sockets) and _field(lines, 7) != "stopping":
            log.info("adopting the postmaster left running, process %d", found.pid)
            return found
        if found:
            children.stop(found, *self.stop_signals)
        self._disown(lines)
        return None

    def _disown(self, lines: list[str]) -> None:
        """Make a stale postmaster.pid harmless without losing its shared-memory key.

        PostgreSQL trusts the id if any process has it; removing the file instead would switch
        off its check for backends that still have the old shared memory.
        """
        for stray in children.working_in(self.place.cluster, _NAMES):
            children.stop(stray, (signal.SIGQUIT, 2.0))
        pid_file = self.place.cluster / "postmaster.pid"
        if pid_file.exists():
            if not _field(lines, 0):  # PostgreSQL refuses an empty one
                pid_file.unlink()
            else:
                kept = "\n".join([str(_NO_SUCH_PID), *lines[1:]])
                pid_file.write_text(f"{kept}\n", encoding="utf-8")
        for socket in self.place.sockets.glob(".s.PGSQL.*"):
            socket.unlink(missing_ok=True)

    def _launch(self, folder: Path) -> psutil.Process:
        settings = _SETTINGS | {"unix_socket_directories": str(self.place.sockets)}
        if list(binaries.library_folder(folder).glob("timescaledb*")):
            settings |= _TIMESCALE_SETTINGS
        chosen = [part for name, value in settings.items() for part in ("-c", f"{name}={value}")]
        return children.launch(
            [folder / "postgres", "-D", self.place.cluster, *chosen],
            cwd=self.place.root,
            log=self.place.log / "postgres.log",
            account=self.place.account,
            dies_by=signal.SIGINT,
        )

    def _wait_until_ready(self, deadline: float) -> None:
        log_file = self.place.log / "postgres.log"
        while time.monotonic() < deadline:
            if not self.alive():
                raise EmbeddedError(
                    f"the private PostgreSQL ended while starting. Last lines of {log_file}:\n"
                    + tail(log_file)
                )
            lines = self._pid_file()
            pid = str(self.process.pid) if self.process else ""
            if _field(lines, 7) == "ready" and _field(lines, 0) == pid:
                return
            if self.cancelled():
                self.stop()
                raise EmbeddedError("the private PostgreSQL was told to stop while starting.")
            time.sleep(0.01)
        self.stop()
        raise EmbeddedError(
            f"the private PostgreSQL was not ready within {RECOVERY_LIMIT_S:.0f} s. See {log_file}."
        )

    def _pid_file(self) -> list[str]:
        try:
            return (self.place.cluster / "postmaster.pid").read_text("utf-8").splitlines()
        except FileNotFoundError:
            return []


def _make_cluster(place: Place, folder: Path, major: int) -> None:
    """Run initdb aside and rename: a cluster folder that exists is a whole one."""
    for abandoned in place.root.glob("cluster.new-*"):
        shutil.rmtree(abandoned, ignore_errors=True)
    # a name of its own: an initdb whose starter was killed may still be writing to the last
    draft = place.root / f"cluster.new-{os.getpid()}"
    draft.mkdir(mode=0o700)
    place.give(draft)
    password = _new_password(place)
    with _handed_over(place, password) as password_file:
        _run(
            place,
            [
                folder / "initdb",
                "--pgdata",
                draft,
                f"--username={DATABASE_USER}",
                f"--pwfile={password_file}",
                "--auth=scram-sha-256",
                "--encoding=UTF8",
                *_locale(major),
                "--data-checksums",
                "--no-instructions",
            ],
        )
    _run(
        place,
        [folder / "postgres", "--single", "-D", draft, "postgres"],
        f"CREATE DATABASE {DATABASE_NAME};\n",
    )
    draft.rename(place.cluster)
    folder_fd = os.open(place.root, os.O_RDONLY)
    try:
        os.fsync(folder_fd)
    finally:
        os.close(folder_fd)


def _locale(major: int) -> list[str]:
    if major >= _BUILTIN_LOCALE_SINCE:
        return ["--locale=C", "--locale-provider=builtin", "--builtin-locale=C.UTF-8"]
    return ["--locale=C.UTF-8"]


def _new_password(place: Place) -> str:
    password = secrets.token_urlsafe(24)
    write_private(place.password_file, f"*:*:*:{DATABASE_USER}:{password}\n")
    return password


@contextlib.contextmanager
def _handed_over(place: Place, password: str) -> Iterator[Path]:
    path = place.root / "password.new"
    write_private(path, password)
    place.give(path)
    try:
        yield path
    finally:
        path.unlink()


def _run(place: Place, argv: list[str | Path], text: str = "") -> None:
    done = subprocess.run(
        argv,
        input=text,
        capture_output=True,
        text=True,
        cwd=place.root,
        check=False,
        env=children.clean_environment(),
        preexec_fn=children.follow_parent(signal.SIGKILL),
        **children.drop_to(place.account),
    )
    if done.returncode or "ERROR:" in done.stderr:
        raise EmbeddedError(f"{Path(argv[0]).name} failed in {place.root}:\n{done.stderr.strip()}")


def _refuse_other_major(cluster: Path, major: int) -> None:
    try:
        found = int((cluster / "PG_VERSION").read_text("ascii"))
    except (OSError, ValueError) as error:
        raise EmbeddedError(f"{cluster} is no PostgreSQL cluster: {error}") from error
    if found != major:
        raise EmbeddedError(
            f"{cluster} was made by PostgreSQL {found}, the program here is {major}. Point "
            f"MILLRACE_PG_BIN at the programs of version {found}, or dump the data with them "
            "(pg_dump), move the folder away and load the dump into a new one."
        )


def _field(lines: list[str], index: int) -> str:
    return lines[index].strip() if len(lines) > index else ""


def _integer(text: str) -> int:
    try:
        return int(text)
    except ValueError:
        return _NO_SUCH_PID
