"""A real worker takes tasks off the private broker, whatever is killed under it."""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import psutil
from celery import Task
from kombu import Connection

from fleet.celery import VISIBILITY_TIMEOUT_S, app
from tests.acceptance import bells
from tests.embedded.harness import REPOSITORY, Stack, eventually


@contextmanager
def _worker(stack: Stack, concurrency: int = 1) -> Iterator[subprocess.Popen[bytes]]:
    environment = {
        key: value for key, value in os.environ.items() if key not in {"DATABASE_URL", "REDIS_URL"}
    }
    worker = subprocess.Popen(
        [
            sys.executable,
            "-m",
            "celery",
            "--quiet",
            "-A",
            "tests.acceptance.bells",
            "worker",
            "--loglevel=ERROR",
            f"--concurrency={concurrency}",
            "--without-gossip",
            "--without-mingle",
        ],
        cwd=REPOSITORY,
        start_new_session=True,
        env={**environment, "MILLRACE_DATA": str(stack.home), "REMAP_SIGTERM": "SIGQUIT"},
    )
    try:
        yield worker
    finally:
        worker.terminate()
        try:
            worker.wait(20)
        except subprocess.TimeoutExpired:
            worker.kill()
            worker.wait()


def _ring(stack: Stack, task: Task, path: Path) -> None:
    address = f"redis+socket://{stack.place.broker_socket}?virtual_host=0"
    with Connection(address) as connection:
        task.apply_async([str(path)], connection=connection)


def test_a_task_runs_and_the_broker_survives_being_wiped(stack: Stack, tmp_path: Path) -> None:
    with _worker(stack):
        user = stack.use()
        assert user.refusal == ""
        first = tmp_path / "first"
        _ring(stack, bells.leave_trace, first)
        assert eventually(first.exists, 60.0)

        killed = stack.broker()
        killed.kill()
        shutil.rmtree(stack.place.broker)
        killed.wait(30)
        user.join_again()

        # One message may fall into the gap of the reconnect: so do the sweeper's.
        later = [tmp_path / f"later-{count}" for count in range(20)]
        waiting = iter(later)

        def one_ran() -> bool:
            path = next(waiting, None)
            if path:
                _ring(stack, bells.leave_trace, path)
            return eventually(lambda: any(path.exists() for path in later), 1.0)

        assert eventually(one_ran, 90.0)


def test_no_pool_process_outlives_a_killed_worker(stack: Stack, tmp_path: Path) -> None:
    with _worker(stack) as worker:
        stack.use()
        begun = tmp_path / "begun"
        _ring(stack, bells.dawdle, begun)
        assert eventually(begun.exists, 60.0)
        pool_process = psutil.Process(int(begun.read_text()))
        assert pool_process.ppid() == worker.pid
        worker.send_signal(signal.SIGKILL)
        worker.wait(30)
        assert eventually(lambda: not pool_process.is_running())


def test_no_message_is_handed_out_again_while_its_task_may_run() -> None:
    for options in (
        app.conf.broker_transport_options,
        app.conf.result_backend_transport_options,
        app.conf,
    ):
        assert options["visibility_timeout"] == VISIBILITY_TIMEOUT_S
    assert app.conf.task_time_limit < VISIBILITY_TIMEOUT_S
    assert app.conf.task_acks_late
    assert app.conf.worker_prefetch_multiplier == 1
    assert app.conf.result_backend is None


def test_the_sweep_is_on_the_schedule_and_known_to_workers() -> None:
    entry = app.conf.beat_schedule["sweep"]
    app.loader.import_default_modules()
    assert entry["task"] in app.tasks
    unread = entry["options"]["expires"] / entry["schedule"]
    assert 10 <= unread <= 100, "neither dropped by clocks that differ, nor piled up for days"
