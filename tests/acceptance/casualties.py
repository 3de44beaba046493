"""The processes of a running stack, found and killed outright."""

from __future__ import annotations

import os
import random
import shutil
import signal
import time
from collections.abc import Callable
from dataclasses import dataclass

import psutil

from tests.embedded.harness import Stack

FOUND_WITHIN_S = 40.0


@dataclass(frozen=True)
class Casualties:
    """What of a stack started by process ``keeper`` can be killed."""

    stack: Stack
    keeper: int

    def kinds(self) -> dict[str, Callable[[], None]]:
        """Each kind of kill by name."""
        return {
            "web": lambda: self._kill(self.web),
            "worker": lambda: self._kill(self.worker),
            "worker's pool process": lambda: self._kill(self.pool_process),
            "scheduler": lambda: self._kill(self.scheduler),
            "broker": lambda: self._kill(self.stack.broker),
            "broker and its data": self.wipe_broker,
            "database": lambda: self._kill(self.stack.postmaster),
            "database's backend": lambda: self._kill(self.backend),
            "supervisor": lambda: self._kill(self.stack.supervisor),
        }

    def web(self) -> psutil.Process:
        """The web server."""
        return self._child("fleet.embedded.web")

    def worker(self) -> psutil.Process:
        """The worker's main process."""
        return self._child("worker")

    def scheduler(self) -> psutil.Process:
        """The scheduler that is kept alive."""
        return self._child("beat")

    def pool_process(self) -> psutil.Process:
        """A process of the worker that runs tasks."""
        return random.choice(self.worker().children())

    def backend(self) -> psutil.Process:
        """A database process that serves somebody."""
        children = self.stack.postmaster().children()
        return random.choice([c for c in children if "millrace millrace" in " ".join(c.cmdline())])

    def wipe_broker(self) -> None:
        """Kill the broker and remove its file before it can be started again."""
        supervisor = _found(self.stack.supervisor)
        _found(self.stack.broker)  # a suspended supervisor would not bring it back
        supervisor.suspend()
        try:
            self._kill(self.stack.broker)
            shutil.rmtree(self.stack.place.broker)
        finally:
            supervisor.resume()

    def _child(self, word: str) -> psutil.Process:
        children = psutil.Process(self.keeper).children()
        (found,) = [child for child in children if word in child.cmdline()]
        return found

    def _kill(self, find: Callable[[], psutil.Process]) -> None:
        os.kill(_found(find).pid, signal.SIGKILL)


def _found(find: Callable[[], psutil.Process]) -> psutil.Process:
    """Wait until the process is there: a kill of nothing is no kill."""
    until = time.monotonic() + FOUND_WITHIN_S
    while True:
        try:
            process = find()
            if process.status() not in (psutil.STATUS_ZOMBIE, psutil.STATUS_STOPPED):
                return process
        except (psutil.Error, OSError, ValueError, IndexError, AssertionError):
            if time.monotonic() > until:
                raise
        time.sleep(0.05)


def schedule(kinds: list[str], count: int, rng: random.Random) -> list[str]:
    """So many kinds in random order, each as often as any other give or take one."""
    drawn: list[str] = []
    while len(drawn) < count:
        drawn += rng.sample(kinds, len(kinds))
    return drawn[:count]
