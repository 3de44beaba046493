"""The demo as its command makes it, once for a whole run, and copies of it to change."""

from __future__ import annotations

import re
import shutil
import signal
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass

from tests.embedded.harness import REPOSITORY, Stack, new_folder

PEOPLE = ("manager", "rep", "technician")


@dataclass(frozen=True)
class Made:
    """A data folder that holds the demo, and what the command said when it loaded it."""

    stack: Stack
    said: str


@dataclass(frozen=True)
class Served:
    """The demo's pages, served by the product's own web process."""

    address: str
    passwords: dict[str, str]


@contextmanager
def made() -> Iterator[Made]:
    """Load the demo into a folder of its own; some 50 s."""
    stack = Stack(new_folder())
    try:
        done = stack.manage("demo", "--no-serve")
        assert done.returncode == 0, done.stderr
        yield Made(stack, done.stdout)
    finally:
        stack.close()


@contextmanager
def served(of: Made) -> Iterator[Served]:
    """Serve a copy, so that what people do there stays there."""
    copy = Stack(new_folder())
    try:
        assert of.stack.is_down(), "the demo's servers still run"
        # With owners and modes: as root, the servers run under another account.
        subprocess.run(["cp", "-a", f"{of.stack.home}/.", str(copy.home)], check=True)
        shutil.rmtree(copy.home / "demo")
        process = subprocess.Popen(
            [sys.executable, "manage.py", "demo", "--port", "0"],
            cwd=REPOSITORY,
            env=copy.environ(),
            stdout=subprocess.PIPE,
            text=True,
        )
        try:
            yield _heard(process)
        finally:
            process.send_signal(signal.SIGINT)
            try:
                process.communicate(timeout=60)
            except subprocess.TimeoutExpired:
                process.kill()
                process.communicate()
    finally:
        copy.close()


def _heard(process: subprocess.Popen[str]) -> Served:
    passwords: dict[str, str] = {}
    assert process.stdout is not None
    for line in process.stdout:
        if person := re.match(rf"  ({'|'.join(PEOPLE)}) +(\S+) ", line):
            passwords[person[1]] = person[2]
        if dashboard := re.search(r"The dashboard is at (http://\S+)/ ", line):
            return Served(dashboard[1], passwords)
    raise AssertionError(f"the demo ended with {process.wait()} before it served")
