"""What a killed predecessor leaves behind must not stop its successor, nor cost a row."""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path

import psutil
import pytest

from fleet.embedded.binaries import client_program
from fleet.embedded.place import SOCKET_PORT
from fleet.embedded.postgres import Postgres
from tests.embedded.harness import Stack, eventually

linux_only = pytest.mark.skipif(sys.platform != "linux", reason="the kernel's parent-death signal")


def test_a_killed_postmaster_is_restarted_and_keeps_committed_rows(stack: Stack) -> None:
    stack.use()
    stack.sql("INSERT INTO kept VALUES ('second')")
    killed = stack.postmaster()
    killed.kill()
    assert eventually(lambda: _answers(stack))
    assert stack.postmaster() != killed
    assert stack.sql("SELECT word FROM kept ORDER BY word") == [("first",), ("second",)]


def test_a_user_who_asks_at_once_waits_for_the_restart(stack: Stack) -> None:
    user = stack.use()
    killed = stack.postmaster()
    killed.kill()
    killed.wait(30)
    user.join_again()
    assert user.refusal == ""
    assert stack.sql("SELECT word FROM kept") == [("first",)]


@linux_only
def test_servers_end_with_a_killed_supervisor(stack: Stack) -> None:
    stack.use()
    stack.supervisor().kill()
    assert stack.is_down()


def test_a_user_goes_on_after_the_supervisor_was_killed(stack: Stack) -> None:
    user = stack.use()
    stack.sql("INSERT INTO kept VALUES ('second')")
    stack.supervisor().kill()
    user.join_again()
    assert user.refusal == ""
    assert stack.sql("SELECT count(*) FROM kept") == [(2,)]
    user.leave()
    assert stack.is_down()


def test_everything_killed_at_once_recovers(stack: Stack) -> None:
    user = stack.use()
    stack.sql("INSERT INTO kept VALUES ('second')")
    for process in (stack.supervisor(), stack.postmaster(), stack.broker()):
        process.kill()
    user.kill()
    again = stack.use()
    assert again.refusal == ""
    assert stack.sql("SELECT count(*) FROM kept") == [(2,)]


def test_a_postmaster_left_running_is_adopted(stack: Stack) -> None:
    stack.place.make()
    stack.place.make_runtime()
    left = Postgres(stack.place)
    left.start()
    assert left.process is not None
    user = stack.use()
    assert user.refusal == ""
    assert stack.postmaster().pid == left.process.pid
    user.leave()
    left.process.wait(30)  # this test is its parent and must reap it
    assert stack.is_down()


def test_an_adopted_postmaster_that_dies_is_replaced(stack: Stack) -> None:
    stack.place.make()
    stack.place.make_runtime()
    left = Postgres(stack.place)
    left.start()
    assert left.process is not None
    stack.use()
    left.process.kill()  # not reaped: it stays a zombie, whose id still answers
    assert eventually(lambda: _answers(stack))
    assert stack.postmaster().pid != left.process.pid
    left.process.wait(30)


@pytest.mark.parametrize("owner", ["stranger", "nobody alive", "zombie"])
def test_a_stale_pid_file_does_not_stop_the_start(stack: Stack, owner: str) -> None:
    ended = subprocess.Popen(["true"])
    if owner == "zombie":
        assert eventually(lambda: psutil.Process(ended.pid).status() == psutil.STATUS_ZOMBIE)
    else:
        ended.wait()
    pid = os.getpid() if owner == "stranger" else ended.pid
    stack.place.make_runtime()
    pid_file = stack.place.cluster / "postmaster.pid"
    pid_file.write_text(
        f"{pid}\n{stack.place.cluster}\n1700000000\n{SOCKET_PORT}\n{stack.place.sockets}\n\n"
        "  5432001    999999\nready   \n"
    )
    stack.place.give(pid_file)
    lock = stack.place.sockets / f".s.PGSQL.{SOCKET_PORT}.lock"
    lock.write_text(f"{pid}\n{stack.place.cluster}\n1700000000\n{SOCKET_PORT}\n\n")
    stack.place.give(lock)
    user = stack.use()
    assert user.refusal == ""
    assert stack.sql("SELECT word FROM kept") == [("first",)]
    ended.wait()


@pytest.mark.parametrize("content", ["", "12", "not a number\n"])
def test_a_pid_file_cut_off_in_writing_does_not_stop_the_start(stack: Stack, content: str) -> None:
    pid_file = stack.place.cluster / "postmaster.pid"
    pid_file.write_text(content)
    stack.place.give(pid_file)
    user = stack.use()
    assert user.refusal == ""


def test_a_half_made_cluster_is_made_anew(empty_stack: Stack) -> None:
    dying = empty_stack.begin()
    root = empty_stack.place.root
    assert eventually(lambda: any(root.glob("cluster.new-*/base")))
    empty_stack.supervisor().kill()
    dying.kill()
    assert not empty_stack.place.cluster.exists()
    user = empty_stack.use()
    assert user.refusal == ""
    assert empty_stack.sql("SELECT 1") == [(1,)]
    assert not list(root.glob("cluster.new-*"))


def test_a_killed_broker_whose_data_are_gone_is_restarted(stack: Stack) -> None:
    user = stack.use()
    killed = stack.broker()
    shutil.rmtree(stack.place.broker)
    killed.kill()
    killed.wait(30)
    user.join_again()
    assert user.refusal == ""
    assert stack.broker() != killed


def test_a_broker_is_not_held_up_by_its_broken_data(stack: Stack) -> None:
    user = stack.use()
    user.leave()
    assert stack.is_down()
    manifest = next(stack.place.broker.glob("appendonlydir/*.manifest"))
    manifest.write_text("rubbish\n")
    user = stack.use()
    assert user.refusal == ""
    assert (stack.place.root / "broker.broken").exists()


def test_a_stale_supervisor_socket_is_replaced(stack: Stack) -> None:
    user = stack.use()
    stack.supervisor().kill()
    user.kill()
    assert stack.place.supervisor_socket.exists()
    assert stack.use().refusal == ""


def test_another_major_versions_cluster_is_refused_with_the_way_out(stack: Stack) -> None:
    (stack.place.cluster / "PG_VERSION").write_text("15\n")
    user = stack.use()
    assert "was made by PostgreSQL 15, the program here is 18" in user.refusal
    assert "MILLRACE_PG_BIN" in user.refusal
    assert "pg_dump" in user.refusal
    user.leave()
    assert stack.is_down()


def test_a_server_that_cannot_start_says_why(stack: Stack) -> None:
    (stack.place.cluster / "postgresql.conf").write_text("no_such_setting = 1\n")
    user = stack.use()
    assert "ended while starting" in user.refusal
    assert 'unrecognized configuration parameter "no_such_setting"' in user.refusal


def test_a_timescaledb_library_beside_the_server_is_loaded(stack: Stack) -> None:
    """The library is a stand-in under that name: only the finding and loading is tested here."""
    programs = stack.home.parent / "pg"
    subprocess.run(
        ["cp", "-a", str(Path(client_program("psql")).parents[1]), str(programs)], check=True
    )
    shutil.copy(programs / "lib" / "lo.so", programs / "lib" / "timescaledb.so")
    user = stack.use(MILLRACE_PG_BIN=str(programs / "bin"))
    assert user.refusal == ""
    assert stack.sql("SHOW shared_preload_libraries") == [("timescaledb",)]
    user.leave()
    assert stack.is_down()
    shutil.rmtree(programs)


def test_programs_named_but_absent_are_reported(stack: Stack) -> None:
    user = stack.use(MILLRACE_PG_BIN="/nowhere/bin")
    assert user.refusal == "MILLRACE_PG_BIN is /nowhere/bin, but no postgres is in it."


def test_a_stopped_supervisor_is_not_mistaken_for_a_dead_one(stack: Stack) -> None:
    stack.use()
    supervisor = stack.supervisor()
    supervisor.send_signal(signal.SIGSTOP)
    late = stack.begin()
    time.sleep(0.5)
    assert stack.supervisor() == supervisor  # no second one was started
    supervisor.send_signal(signal.SIGCONT)
    late.hear()
    assert late.refusal == ""


def _answers(stack: Stack) -> bool:
    try:
        return stack.sql("SELECT 1") == [(1,)]
    except Exception:  # noqa: BLE001 - any failure means: not yet
        return False
