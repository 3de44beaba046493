"""Two schedulers and two workers: everything is swept, and taken in once."""

from __future__ import annotations

import subprocess
import sys
from contextlib import ExitStack

import pytest

from tests.acceptance import books
from tests.acceptance.pieces import cut_logs
from tests.acceptance.trial import second_scheduler
from tests.embedded.harness import REPOSITORY, Stack, eventually

# Stored, and nobody rings: that is left to the sweeps.
STORE = """
import sys
from fleet.ingest.manifest import register
from fleet.ingest.receive import receive
manifest, *bodies = sys.stdin.read().split("\\0")
system = register(manifest).systems.get(code="R1")
for number, body in enumerate(bodies):
    receive(system, f"{number}.csv", body.encode())
"""


def _manage(stack: Stack, *arguments: str, text: str = "") -> None:
    subprocess.run(
        [sys.executable, "manage.py", *arguments], cwd=REPOSITORY, env=stack.environ(),
        input=text, text=True, check=True, capture_output=True,
    )  # fmt: skip


def _worker(stack: Stack, name: str) -> subprocess.Popen[bytes]:
    arguments = ["--loglevel=WARNING", "--concurrency=1", "--without-gossip", "--without-mingle"]
    return subprocess.Popen(
        [sys.executable, "-m", "celery", "--quiet", "--app=fleet", "worker", f"--hostname={name}",
         *arguments],
        cwd=REPOSITORY, env=stack.environ(), start_new_session=True,
    )  # fmt: skip


@pytest.mark.timeout(150)
def test_a_second_scheduler_does_no_harm(stack: Stack) -> None:
    pieces = [piece for piece in cut_logs(17, 6.0).pieces if piece.system == "R1"]
    bodies = [cut_logs(17, 6.0).manifest("ferry-hall"), *(each.body.decode() for each in pieces)]
    stack.use()
    _manage(stack, "migrate", "--verbosity=0")
    with ExitStack() as running:
        for _ in range(2):
            running.enter_context(second_scheduler(stack))
        workers = [_worker(stack, name) for name in ("one@here", "two@here")]
        try:
            _manage(stack, "shell", "--no-imports", "-c", STORE, text="\0".join(bodies))
            assert eventually(lambda: not any(books.waiting(stack)), 90.0), books.waiting(stack)
        finally:
            for worker in workers:
                worker.terminate()
            for worker in workers:
                worker.wait(30)
    ((uploads, accepted, attempts),) = stack.sql(
        "SELECT count(*), sum(rows_accepted), max(attempts) FROM fleet_upload "
        "WHERE state = 'analysed'"
    )
    assert (uploads, accepted) == (len(pieces), sum(len(each.instants) for each in pieces))
    assert attempts == 0, "none failed, or was tried again"
    stored = [at for (at,) in stack.sql("SELECT ts FROM samples")]
    sent = set().union(*(each.instants for each in pieces))
    assert len(stored) == len(set(stored)) == len(sent)
    ((windows, different),) = stack.sql("SELECT count(*), count(DISTINCT start) FROM fleet_window")
    assert windows == different > 0
