"""Real processes around a private stack in a folder of its own."""

from __future__ import annotations

import fcntl
import json
import os
import shutil
import socket
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import psutil
import psycopg

from fleet.embedded import Place, locate
from fleet.embedded.place import DATABASE_NAME, DATABASE_USER, SOCKET_PORT

REPOSITORY = Path(__file__).parents[2]

# The browser tests of the same run set the last one, for Playwright's event loop.
_OF_THE_CALLER = ("DATABASE_URL", "REDIS_URL", "SECRET_KEY", "DJANGO_ALLOW_ASYNC_UNSAFE")

# Joins, says so, then obeys one-line orders until its input ends.
_USER = """
import json, os, sys, time
from fleet import embedded
def join():
    try:
        embedded.ensure()
    except embedded.EmbeddedError as error:
        print("refused", json.dumps(str(error)), flush=True)
    else:
        print("ready", flush=True)
join()
for order in sys.stdin:
    if order.strip() == "join":
        join()
    elif order.strip() == "fork":
        if not os.fork():
            join()
            time.sleep(60)
"""


@dataclass
class User:
    """A process that uses the private servers."""

    process: subprocess.Popen[str]
    refusal: str = ""

    def hear(self) -> None:
        assert self.process.stdout is not None
        word, _, why = self.process.stdout.readline().strip().partition(" ")
        if word == "refused":
            self.refusal = str(json.loads(why))
        else:
            assert word == "ready", f"the user said {word!r}"

    def say(self, order: str) -> None:
        assert self.process.stdin is not None
        self.process.stdin.write(f"{order}\n")
        self.process.stdin.flush()

    def join_again(self) -> None:
        self.say("join")
        self.hear()

    def leave(self) -> None:
        assert self.process.stdin is not None
        self.process.stdin.close()
        self.process.wait(60)

    def kill(self) -> None:
        self.process.kill()
        self.process.wait(60)


@dataclass
class Stack:
    """A data folder, the users it gets and what runs for it."""

    home: Path
    environment: dict[str, str] = field(default_factory=dict)
    python: list[str] = field(default_factory=lambda: [sys.executable])
    users: list[User] = field(default_factory=list)

    @property
    def place(self) -> Place:
        return locate(self.home)

    def environ(self, **more: str) -> dict[str, str]:
        """The environment of a process of this folder: no servers but its own."""
        kept = {key: value for key, value in os.environ.items() if key not in _OF_THE_CALLER}
        return kept | {"MILLRACE_DATA": str(self.home)} | self.environment | more

    def manage(self, *arguments: str, **environment: str) -> subprocess.CompletedProcess[str]:
        """Run a command of ``manage.py`` to its end."""
        return subprocess.run(
            [sys.executable, "manage.py", *arguments],
            cwd=REPOSITORY,
            env=self.environ(**environment),
            capture_output=True,
            text=True,
            check=False,
        )

    def begin(self, **environment: str) -> User:
        """Start a user without waiting for it."""
        process = subprocess.Popen(
            [*self.python, "-c", _USER],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
            cwd=REPOSITORY,
            env=self.environ(**{"PYTHONPATH": str(REPOSITORY)} | self.environment | environment),
        )
        self.users.append(User(process))
        return self.users[-1]

    def use(self, **environment: str) -> User:
        """Start a user and wait until it has joined or was refused."""
        user = self.begin(**environment)
        user.hear()
        return user

    def sql(self, statement: str) -> list[tuple[Any, ...]]:
        with psycopg.connect(
            host=str(self.place.sockets),
            port=SOCKET_PORT,
            dbname=DATABASE_NAME,
            user=DATABASE_USER,
            passfile=str(self.place.password_file),
            autocommit=True,
        ) as connection:
            cursor = connection.execute(statement)
            return cursor.fetchall() if cursor.description else []

    def postmaster(self) -> psutil.Process:
        pid_file = self.place.cluster / "postmaster.pid"
        return psutil.Process(int(pid_file.read_text().splitlines()[0]))

    def broker(self) -> psutil.Process:
        return self._one("broker", str(self.place.broker_socket))

    def supervisor(self) -> psutil.Process:
        return self._one("fleet.embedded.supervisor", str(self.home))

    def _one(self, *words: str) -> psutil.Process:
        found = [
            process
            for process in self.processes()
            if all(word in " ".join(process.cmdline()) for word in words)
        ]
        assert len(found) == 1, f"{words}: {found}"
        return found[0]

    def processes(self) -> list[psutil.Process]:
        """Every live server process of this folder, found by its command line or folder."""
        roots = (str(self.home), str(self.place.root))
        users = {user.process.pid for user in self.users} | {os.getpid()}
        return [
            process
            for process in psutil.process_iter()
            if process.pid not in users and _concerns(process, roots)
        ]

    def is_down(self) -> bool:
        # the look at every process is dear, the supervisor's lock is cheap
        return eventually(lambda: not self.supervised() and not self.processes())

    def supervised(self) -> bool:
        """Tell whether a supervisor holds the folder's lock."""
        try:
            with self.place.supervisor_lock.open() as lock:
                fcntl.flock(lock, fcntl.LOCK_SH | fcntl.LOCK_NB)
        except FileNotFoundError:
            return False
        except BlockingIOError:
            return True
        return False

    def close(self) -> None:
        for user in self.users:
            if user.process.poll() is None:
                user.kill()
            for stream in (user.process.stdin, user.process.stdout):
                if stream and not stream.closed:
                    stream.close()
        down = self.is_down()
        for process in self.processes():
            process.kill()
        shutil.rmtree(self.place.root, ignore_errors=True)
        shutil.rmtree(self.home, ignore_errors=True)
        assert down, "servers outlived their users"


def _concerns(process: psutil.Process, roots: tuple[str, ...]) -> bool:
    try:
        if process.status() == psutil.STATUS_ZOMBIE:
            return False
        told = [*process.cmdline(), process.cwd()]
    except psutil.Error:
        return False
    return any(part.startswith(root) for part in told for root in roots)


def free_port() -> int:
    """A port of this machine that nobody listens on."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def eventually(holds: Callable[[], bool], within_s: float = 30.0) -> bool:
    """Wait until something holds; False if it does not in time."""
    until = time.monotonic() + within_s
    while not holds():
        if time.monotonic() > until:
            return False
        time.sleep(0.02)
    return True


def new_folder() -> Path:
    """Return a folder under /tmp that the servers' account can pass through."""
    folder = Path(tempfile.mkdtemp(prefix="mr-", dir="/tmp"))
    folder.chmod(0o711)
    return folder


@contextmanager
def new_stack() -> Iterator[Stack]:
    """A stack in a new folder, in which nothing was ever started."""
    parent = new_folder()
    stack = Stack(parent / "data")
    try:
        yield stack
        stack.close()
    finally:
        shutil.rmtree(parent)
