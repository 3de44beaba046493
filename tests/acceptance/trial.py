"""A working stack to which something is done while gateways send uploads, and the judgement after.

Afterwards every acknowledged row is stored once, none was invented, and windows and verdicts equal
those of the same uploads taken in by one undisturbed process.
"""

from __future__ import annotations

import random
import signal
import subprocess
import sys
import threading
import time
from collections import Counter
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

import psycopg

from tests.acceptance import books
from tests.acceptance.gateways import Gateway, Ledger
from tests.acceptance.pieces import CODES, Logs, Piece
from tests.embedded.harness import REPOSITORY, Stack, eventually

GATEWAYS = 3
DRAIN_LIMIT_S = 180.0
REGISTER = """
import sys
from fleet.ingest.manifest import register
from fleet.models import UploadToken
site = register(sys.stdin.read())
print(UploadToken.objects.make(site)[1])
"""


@dataclass(frozen=True)
class Scene:
    """A running stack: the process that keeps it, where it serves, what gateways were told."""

    stack: Stack
    keeper: int
    address: str
    ledger: Ledger


@dataclass(frozen=True)
class Sending:
    """What gateways send and how fast; ``pause_s``: a gateway's mean pause between uploads."""

    logs: Logs
    seed: int
    pause_s: float


@dataclass
class Outcome:
    """The figures; ``faults`` says what must not have happened.

    grown_bytes: the database's growth while gateways sent; clean_bytes: that by the clean run.
    """

    kills: Counter[str] = field(default_factory=Counter)
    uploads_acknowledged: int = 0
    uploads_unknown: int = 0
    failed_sends: int = 0
    sent_again: int = 0
    rows_acknowledged: int = 0
    rows_stored: int = 0
    rows_lost: int = 0
    rows_doubled: int = 0
    rows_invented: int = 0
    windows: int = 0
    drain_s: float = 0.0
    grown_bytes: int = 0
    clean_bytes: int = 0
    faults: list[str] = field(default_factory=list)

    def lines(self) -> Iterator[str]:
        """The figures, a line each."""
        yield f"kills                 {self.kills.total()}"
        for kind, count in sorted(self.kills.items()):
            yield f"  {kind:<22}{count}"
        yield f"uploads acknowledged  {self.uploads_acknowledged}"
        yield f"  outcome unknown       {self.uploads_unknown}"
        yield f"  sends that failed     {self.failed_sends}"
        yield f"  sent again            {self.sent_again}"
        yield f"rows acknowledged     {self.rows_acknowledged}"
        yield f"  stored                {self.rows_stored}"
        yield f"  lost                  {self.rows_lost}"
        yield f"  doubled               {self.rows_doubled}"
        yield f"  invented              {self.rows_invented}"
        yield f"windows compared      {self.windows}"
        yield f"drained after         {self.drain_s:.1f} s"
        yield from (f"FAULT {fault}" for fault in self.faults)


def run(stack: Stack, sending: Sending, disturb: Callable[[Scene], None]) -> Outcome:
    """Start the stack, disturb it while gateways send, let it finish, and judge."""
    outcome = Outcome()
    try:
        with up(stack, stack.home.parent / "up.log") as (keeper, address):
            scene = Scene(stack, keeper, address, Ledger())
            empty = books.size(stack)
            _send_while(sending, scene, disturb)
            _drain(stack, outcome)
            outcome.grown_bytes = books.size(stack) - empty
        _judge(stack, sending.logs, scene.ledger, outcome)
        stack.close()
    finally:
        for process in stack.processes():
            process.kill()
    return outcome


@contextmanager
def up(stack: Stack, log: Path) -> Iterator[tuple[int, str]]:
    """``manage.py up``; its process id and the address it serves at."""
    with log.open("wb") as errors:
        process = subprocess.Popen(
            [sys.executable, "manage.py", "up", "--port", "0"], cwd=REPOSITORY, text=True,
            stdout=subprocess.PIPE, stderr=errors, env=stack.environ(), start_new_session=True,
        )  # fmt: skip
    try:
        assert process.stdout is not None
        said = process.stdout.readline()
        address = next((word for word in said.split() if word.startswith("http")), None)
        assert address, f"up said {said!r}: {log.read_text()}"
        yield process.pid, address
        process.send_signal(signal.SIGINT)
        process.communicate(timeout=90)
        assert process.returncode == 0, log.read_text()
    finally:
        process.kill()
        process.communicate()


@contextmanager
def second_scheduler(stack: Stack) -> Iterator[None]:
    """One more than there should be, all the time."""
    arguments = ["beat", "--loglevel=CRITICAL", "--pidfile="]
    process = subprocess.Popen(
        [sys.executable, "-m", "celery", "--quiet", "--app=fleet", *arguments], cwd=REPOSITORY,
        env=stack.environ(), start_new_session=True,
        stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
    )  # fmt: skip
    try:
        yield
        assert process.poll() is None, "the second scheduler ended by itself"
    finally:
        process.kill()
        process.wait()


def _send_while(sending: Sending, scene: Scene, disturb: Callable[[Scene], None]) -> None:
    logs, enough = sending.logs, threading.Event()
    token = subprocess.run(
        [sys.executable, "manage.py", "shell", "--no-imports", "-c", REGISTER], cwd=REPOSITORY,
        env=scene.stack.environ(), input=logs.manifest(logs.site.code), capture_output=True,
        text=True, check=True,
    ).stdout.strip()  # fmt: skip
    gateways = [
        Gateway(
            scene.address, token, logs.site.code, scene.ledger,
            random.Random(sending.seed + at), sending.pause_s,
        )
        for at in range(GATEWAYS)
    ]  # fmt: skip
    with ThreadPoolExecutor(GATEWAYS) as pool:
        working = [
            pool.submit(gateway.work, logs.pieces[at::GATEWAYS], enough)
            for at, gateway in enumerate(gateways)
        ]
        try:
            disturb(scene)
        finally:
            enough.set()
        for each in working:
            each.result()


def _drain(stack: Stack, outcome: Outcome) -> None:
    began = time.monotonic()

    def done() -> bool:
        time.sleep(0.1)
        try:
            return not any(books.waiting(stack))
        except psycopg.OperationalError:  # not back yet
            return False

    if not eventually(done, DRAIN_LIMIT_S):
        outcome.faults.append(f"not drained: {books.waiting(stack)} stored, taken in, due")
    outcome.drain_s = time.monotonic() - began


def _judge(stack: Stack, logs: Logs, ledger: Ledger, outcome: Outcome) -> None:
    """Compare what is stored with what was acknowledged, and with a clean run of the same."""
    assert stack.is_down(), "servers outlived their users"
    assert stack.use().refusal == ""
    stored = books.uploads(stack, logs.site.code)
    kept = {(system, name) for system, name, _ in stored.values()}
    clean = [piece for piece in logs.pieces if (piece.system, piece.name) in kept]
    folder = logs.write(stack.home.parent / "clean", clean)
    before = books.size(stack)
    subprocess.run(
        [sys.executable, "manage.py", "load_site", "--wait", str(folder)], cwd=REPOSITORY,
        env=stack.environ(), check=True, capture_output=True,
    )  # fmt: skip
    outcome.clean_bytes = books.size(stack) - before
    killed, whole = books.read(stack, logs.site.code), books.read(stack, "clean")
    outcome.faults += ledger.contradictions
    outcome.uploads_acknowledged = len(ledger.acknowledged)
    outcome.uploads_unknown = len(ledger.unknown)
    outcome.failed_sends, outcome.sent_again = ledger.failed_sends, ledger.sent_again
    _check_uploads(stored, ledger, outcome)
    count_rows(killed.instants, list(ledger.acknowledged), clean, outcome)
    outcome.windows = sum(count for count, _ in killed.windows.values())
    for what in ("samples", "windows", "standing"):
        if getattr(killed, what) != getattr(whole, what):
            outcome.faults.append(f"{what} are not those of the clean run")
    if not all(killed.standing.values()) or not outcome.windows:
        outcome.faults.append("nothing was analysed")


def _check_uploads(
    stored: dict[str, tuple[str, str, str]], ledger: Ledger, outcome: Outcome
) -> None:
    for piece, upload in ledger.acknowledged.items():
        found = stored.get(upload)
        if found is None or found[:2] != (piece.system, piece.name):
            outcome.faults.append(f"{piece.name}, acknowledged as {upload}, is {found}")
    names = [(system, name) for system, name, _ in stored.values()]
    if len(names) != len(set(names)):
        outcome.faults.append("an upload is there twice")
    if not_done := [each for each in stored.values() if each[2] != "analysed"]:
        outcome.faults.append(f"not analysed: {not_done}")


def count_rows(
    instants: dict[str, list[str]], acknowledged: list[Piece], kept: list[Piece], outcome: Outcome
) -> None:
    """Count stored instants against those acknowledged and those of uploads that were kept."""
    for code in CODES:
        promised = {at for piece in acknowledged if piece.system == code for at in piece.instants}
        sent = {at for piece in kept if piece.system == code for at in piece.instants}
        there = instants[code]
        outcome.rows_acknowledged += len(promised)
        outcome.rows_stored += len(there)
        outcome.rows_lost += len(promised - set(there))
        outcome.rows_doubled += len(there) - len(set(there))
        outcome.rows_invented += len(set(there) - sent)
    for what in ("lost", "doubled", "invented"):
        if count := getattr(outcome, f"rows_{what}"):
            outcome.faults.append(f"{count} rows {what}")
