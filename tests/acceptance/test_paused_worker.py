"""A worker paused for longer than messages stay hidden is overtaken, and wakes to no harm."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from tests.acceptance.pieces import cut_logs
from tests.embedded.harness import REPOSITORY, Stack, eventually

STORE = """
import sys
from fleet import tasks
from fleet.ingest.manifest import register
from fleet.ingest.receive import receive
manifest, one, two = sys.stdin.read().split("\\0")
system = register(manifest).systems.get(code="R1")
for name, body in (("claimed.csv", one), ("unclaimed.csv", two)):
    tasks.ring(tasks.take_in, str(receive(system, name, body.encode())[0].pk))
"""


@contextmanager
def _worker(stack: Stack, traces: Path, **more: str) -> Iterator[subprocess.Popen[bytes]]:
    worker = subprocess.Popen(
        [sys.executable, "-m", "celery", "--quiet", "-A", "tests.acceptance.paused", "worker",
         "--loglevel=ERROR", "--concurrency=2", "--without-gossip", "--without-mingle"],
        cwd=REPOSITORY, start_new_session=True,
        env=stack.environ() | {"TRACES": str(traces)} | more,
    )  # fmt: skip
    try:
        yield worker
    finally:
        os.killpg(worker.pid, signal.SIGCONT)
        worker.terminate()
        try:
            worker.wait(20)
        except subprocess.TimeoutExpired:
            os.killpg(worker.pid, signal.SIGKILL)
            worker.wait()


def _manage(stack: Stack, *arguments: str, text: str = "") -> None:
    subprocess.run(
        [sys.executable, "manage.py", *arguments], cwd=REPOSITORY, env=stack.environ(),
        input=text, text=True, check=True, capture_output=True,
    )  # fmt: skip


@pytest.mark.timeout(180)
def test_a_worker_paused_past_the_visibility_timeout_does_no_harm(
    stack: Stack, tmp_path: Path
) -> None:
    logs = cut_logs(5, 3.0)
    one, two = [piece for piece in logs.pieces if piece.system == "R1"][:2]
    stack.use()
    _manage(stack, "migrate", "--verbosity=0")
    bodies = "\0".join([logs.manifest("ferry-hall"), one.body.decode(), two.body.decode()])
    with _worker(stack, tmp_path, HOLD="1") as paused:
        _manage(stack, "shell", "--no-imports", "-c", STORE, text=bodies)
        for name in ("claimed", "unclaimed"):
            assert eventually((tmp_path / f"held-{name}.csv").exists), name
        os.killpg(paused.pid, signal.SIGSTOP)

        with _worker(stack, tmp_path):
            for name in ("claimed", "unclaimed"):
                assert eventually((tmp_path / f"free-did-{name}.csv").exists, 60.0), name
            overtaken = _states(stack)
            assert overtaken["claimed.csv"] == "stored", "the paused worker holds its row"
            assert overtaken["unclaimed.csv"] in ("taken_in", "analysed")
            (tmp_path / "go").touch()
            os.killpg(paused.pid, signal.SIGCONT)
            for name in ("claimed", "unclaimed"):
                assert eventually((tmp_path / f"held-did-{name}.csv").exists), name
            assert eventually(lambda: set(_states(stack).values()) == {"analysed"}, 60.0)

    stored = [at for (at,) in stack.sql("SELECT ts FROM samples")]
    assert len(stored) == len(set(stored)) == len(one.instants | two.instants)
    ((accepted, windows, different),) = stack.sql(
        "SELECT (SELECT sum(rows_accepted) FROM fleet_upload), count(*), count(DISTINCT start) "
        "FROM fleet_window"
    )
    assert accepted == len(one.instants) + len(two.instants), "each is counted once"
    assert windows == different > 0


def _states(stack: Stack) -> dict[str, str]:
    return dict(stack.sql("SELECT name, state FROM fleet_upload"))  # type: ignore[arg-type]
