"""Kills every part of a working stack at random moments while gateways send uploads.

    python -m tests.acceptance.kills --kills 50 --seed 7

Afterwards every acknowledged row is stored once, none was invented, and windows and verdicts equal
those of the same uploads taken in by one undisturbed process.
"""

from __future__ import annotations

import argparse
import os
import random
import shutil
import signal
import subprocess
import sys
import threading
import time
from collections import Counter
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

import psycopg

from tests.acceptance import books
from tests.acceptance.casualties import Casualties, schedule
from tests.acceptance.gateways import Gateway, Ledger
from tests.acceptance.pieces import CODES, Logs, Piece, cut_logs
from tests.embedded.harness import REPOSITORY, Stack, eventually, new_folder

GATEWAYS = 3
REGISTER = """
import sys
from fleet.ingest.manifest import register
from fleet.models import UploadToken
site = register(sys.stdin.read())
print(UploadToken.objects.make(site)[1])
"""


@dataclass(frozen=True)
class Plan:
    """How many kills, how far apart, and how long the last piece of work may take after them."""

    kills: int
    seed: int
    apart_s: float = 3.0
    drain_limit_s: float = 180.0

    @property
    def hours(self) -> float:
        """Length of the logs: enough new uploads for every kill to have some to meet."""
        return max(30.0, 3.0 * self.kills)

    def pause_s(self, uploads: int) -> float:
        """A gateway's mean pause between uploads, so that they last as long as the kills."""
        return self.kills * self.apart_s * GATEWAYS / uploads


@dataclass
class Outcome:
    """The figures; ``faults`` says what must not have happened."""

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


def run(plan: Plan) -> Outcome:
    """Start a stack in a folder of its own, kill, heal, and compare with a clean run."""
    folder = new_folder()
    stack = Stack(folder / "data")
    logs = cut_logs(plan.seed, plan.hours)
    outcome = Outcome()
    try:
        with up(stack, folder / "up.log") as (keeper, address), _second_scheduler(stack):
            ledger = _kill_while_sending(plan, stack, keeper, (address, logs), outcome)
            _drain(stack, plan, outcome)
        _judge(stack, logs, ledger, outcome)
        stack.close()
    finally:
        for process in stack.processes():
            process.kill()
        shutil.rmtree(folder, ignore_errors=True)
    return outcome


def environment(stack: Stack) -> dict[str, str]:
    """For processes of this stack."""
    kept = {k: v for k, v in os.environ.items() if k not in ("DATABASE_URL", "REDIS_URL")}
    return kept | {"MILLRACE_DATA": str(stack.home)} | stack.environment


@contextmanager
def up(stack: Stack, log: Path) -> Iterator[tuple[int, str]]:
    """``manage.py up``; its process id and the address it serves at."""
    with log.open("wb") as errors:
        process = subprocess.Popen(
            [sys.executable, "manage.py", "up", "--port", "0"], cwd=REPOSITORY, text=True,
            stdout=subprocess.PIPE, stderr=errors, env=environment(stack), start_new_session=True,
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
def _second_scheduler(stack: Stack) -> Iterator[None]:
    """One more than there should be, all the time."""
    arguments = ["beat", "--loglevel=CRITICAL", "--scheduler=celery.beat.Scheduler", "--pidfile="]
    process = subprocess.Popen(
        [sys.executable, "-m", "celery", "--quiet", "--app=fleet", *arguments], cwd=REPOSITORY,
        env=environment(stack), start_new_session=True,
        stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
    )  # fmt: skip
    try:
        yield
        assert process.poll() is None, "the second scheduler ended by itself"
    finally:
        process.kill()
        process.wait()


def _kill_while_sending(
    plan: Plan, stack: Stack, keeper: int, target: tuple[str, Logs], outcome: Outcome
) -> Ledger:
    address, logs = target
    site = logs.site.code
    token = subprocess.run(
        [sys.executable, "manage.py", "shell", "--no-imports", "-c", REGISTER], cwd=REPOSITORY,
        env=environment(stack), input=logs.manifest(site), capture_output=True, text=True,
        check=True,
    ).stdout.strip()  # fmt: skip
    ledger, enough = Ledger(), threading.Event()
    rng, pause_s = random.Random(plan.seed), plan.pause_s(len(logs.pieces))
    with ThreadPoolExecutor(GATEWAYS) as pool:
        working = [
            pool.submit(
                Gateway(address, token, site, ledger, random.Random(plan.seed + at), pause_s).work,
                logs.pieces[at::GATEWAYS],
                enough,
            )
            for at in range(GATEWAYS)
        ]
        try:
            kinds = Casualties(stack, keeper).kinds()
            for kind in schedule(list(kinds), plan.kills, rng):
                time.sleep(rng.uniform(0.3, 1.7) * plan.apart_s)
                kinds[kind]()
                outcome.kills[kind] += 1
        finally:
            enough.set()
        for gateway in working:
            gateway.result()
    return ledger


def _drain(stack: Stack, plan: Plan, outcome: Outcome) -> None:
    began = time.monotonic()

    def done() -> bool:
        time.sleep(0.1)
        try:
            return not any(books.waiting(stack))
        except psycopg.OperationalError:  # not back yet
            return False

    if not eventually(done, plan.drain_limit_s):
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
    subprocess.run(
        [sys.executable, "manage.py", "load_site", "--wait", str(folder)], cwd=REPOSITORY,
        env=environment(stack), check=True, capture_output=True,
    )  # fmt: skip
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


def main() -> int:
    """Print the figures; 1 if anything was lost, doubled, invented or differs."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--kills", type=int, default=50)
    parser.add_argument("--seed", type=int, default=7)
    parser.add_argument("--apart", type=float, default=3.0, help="mean seconds between kills")
    given = parser.parse_args()
    outcome = run(Plan(kills=given.kills, seed=given.seed, apart_s=given.apart))
    print("\n".join(outcome.lines()))  # noqa: T201
    return 1 if outcome.faults else 0


if __name__ == "__main__":
    sys.exit(main())
