"""The disk of database and broker fills up under a working stack, and gets room again.

The data folder lies on a small tmpfs, so "no space left on device" is the kernel's own; that a
full disk of another kind also slows down is not tried.
"""

from __future__ import annotations

import errno
import os
import shutil
import subprocess
import time
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

import psycopg
import pytest

from tests.acceptance import trial
from tests.acceptance.pieces import cut_logs
from tests.acceptance.trial import Scene, Sending
from tests.embedded.harness import Stack, new_folder

MIB = 1 << 20
SIZE_MIB = 512
# It stops by itself, or, where it had stopped before, cannot even recover.
WENT_DOWN = ("PANIC", "startup process failure", "could not write lock file")


@pytest.fixture
def small_disk() -> Iterator[Path]:
    """A file system of its own."""
    folder = new_folder()
    mounted = subprocess.run(
        ["mount", "-t", "tmpfs", "-o", f"size={SIZE_MIB}m,mode=711", "millrace", str(folder)],
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    if mounted.returncode:
        folder.rmdir()
        pytest.skip(f"no file system may be mounted: {mounted.stderr.strip()}")
    try:
        yield folder
    finally:
        subprocess.run(["umount", "--lazy", str(folder)], check=True)
        folder.rmdir()


@contextmanager
def _full(disk: Path) -> Iterator[None]:
    """Not a byte is left in the block."""
    ballast = disk / "ballast"
    with ballast.open("wb", buffering=0) as file:
        for chunk in (MIB, 4096):
            with suppress(OSError):
                while True:
                    file.write(bytes(chunk))
    assert shutil.disk_usage(disk).free < 4096
    try:
        yield
    finally:
        ballast.unlink()


def _cannot_go_on_logging(stack: Stack) -> None:
    """The write-ahead log needs a new file: without one the server must not acknowledge."""
    with suppress(psycopg.Error):
        for _ in range(3):
            stack.sql("SELECT pg_switch_wal(), pg_logical_emit_message(true, 'room', '')")


@pytest.mark.timeout(240)
def test_nothing_acknowledged_is_lost_when_the_disk_fills_up(small_disk: Path) -> None:
    logs = cut_logs(11, 12.0)
    answers: Counter[int] = Counter()
    said: list[str] = []

    def fill(scene: Scene) -> None:
        time.sleep(2.0)
        for at_once in (False, True):
            with _full(small_disk):
                if at_once:
                    _cannot_go_on_logging(scene.stack)
                time.sleep(4.0)
            said.append("".join(log.read_text() for log in scene.stack.place.log.glob("*.log")))
            time.sleep(3.0)
        answers.update(scene.ledger.answers)

    pause_s = 16.0 * trial.GATEWAYS / len(logs.pieces)
    stack = Stack(small_disk / "data")
    outcome = trial.run(stack, Sending(logs, 11, pause_s), fill)
    print("\n".join(outcome.lines()), answers)  # noqa: T201
    assert outcome.faults == []
    assert "could not extend file" in said[0]
    assert any(each in said[1] for each in WENT_DOWN), "the database server itself went down"
    assert answers[503] > 0, "gateways were told to come back"
    assert set(answers) <= {200, 202, 503}
    assert outcome.rows_acknowledged > 1500
    assert outcome.windows > 50


def test_the_disk_of_this_test_does_fill_up(small_disk: Path) -> None:
    with _full(small_disk), pytest.raises(OSError, match="No space left") as caught:
        (small_disk / "more").write_bytes(bytes(MIB))
    assert caught.value.errno == errno.ENOSPC
    assert os.statvfs(small_disk).f_bavail > 0
