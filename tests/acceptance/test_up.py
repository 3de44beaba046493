"""``manage.py up`` brings up the whole stack, keeps it alive and takes it down in order."""

from __future__ import annotations

import os
import re
import signal
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager

import psutil

from tests.embedded.harness import REPOSITORY, Stack, eventually


def _start(stack: Stack, *arguments: str) -> subprocess.Popen[str]:
    environment = {
        key: value for key, value in os.environ.items() if key not in {"DATABASE_URL", "REDIS_URL"}
    }
    return subprocess.Popen(
        [sys.executable, "manage.py", "up", *arguments],
        cwd=REPOSITORY,
        text=True,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        start_new_session=True,
        env={**environment, "MILLRACE_DATA": str(stack.home)},
    )


@contextmanager
def _running(stack: Stack) -> Iterator[tuple[subprocess.Popen[str], str]]:
    process = _start(stack, "--port", "0")
    try:
        assert process.stdout is not None
        said = process.stdout.readline()
        address = re.search(r"http://127\.0\.0\.1:\d+/", said)
        assert address, said + (process.stderr.read() if process.stderr else "")
        yield process, address.group()
    finally:
        process.kill()
        process.communicate()


def _status(address: str) -> int:
    try:
        with urllib.request.urlopen(address, timeout=60) as answer:
            return int(answer.status)
    except urllib.error.HTTPError as error:
        with error:
            return error.code


def _part(keeper: int, word: str) -> psutil.Process | None:
    for child in psutil.Process(keeper).children():
        try:
            if word in child.cmdline() and child.status() != psutil.STATUS_ZOMBIE:
                return child
        except psutil.NoSuchProcess:
            continue
    return None


def test_up_serves_restarts_what_dies_and_ends_on_ctrl_c(stack: Stack) -> None:
    with _running(stack) as (process, address):
        assert _status(address) < 500
        for word in ("worker", "beat", "fleet.embedded.web"):
            killed = _part(process.pid, word)
            assert killed is not None
            killed.kill()

            def replaced(word: str = word, killed: psutil.Process = killed) -> bool:
                found = _part(process.pid, word)
                return found is not None and found != killed

            assert eventually(replaced), word
        assert _status(address) < 500  # waits in the queue of the kept socket, is not refused

        stack.supervisor().kill()
        stack.postmaster().wait(30)
        assert eventually(stack.supervised)

        process.send_signal(signal.SIGINT)
        said, _ = process.communicate(timeout=90)
        assert process.returncode == 0
        assert "Stopping" in said
        assert stack.is_down()


def test_nothing_outlives_an_up_that_was_killed(stack: Stack) -> None:
    with _running(stack) as (process, _):
        worker = _part(process.pid, "worker")
        assert worker is not None
        time.sleep(1.0)
        process.kill()
        process.wait(30)
        assert stack.is_down()
        assert eventually(lambda: not worker.is_running())


def test_an_occupied_port_is_refused_before_anything_starts(stack: Stack) -> None:
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = taken.getsockname()[1]
        process = _start(stack, "--port", str(port))
        _, said = process.communicate(timeout=90)
    assert process.returncode == 1
    assert f"cannot listen at 127.0.0.1:{port}: Address already in use" in said
    assert "Choose another with --port" in said
    assert "Traceback" not in said
    assert not (stack.home / "embedded").exists()


def test_a_port_that_is_none_is_wrong_usage(stack: Stack) -> None:
    process = _start(stack, "--port", "seventy")
    _, said = process.communicate(timeout=90)
    assert process.returncode == 2
    assert "argument --port: invalid int value: 'seventy'" in said
