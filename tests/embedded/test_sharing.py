"""The first user starts the servers, the last one's end stops them, however it ends."""

from __future__ import annotations

import signal
import time
from pathlib import Path

import psutil

from tests.embedded.harness import Stack, eventually


def test_the_first_user_starts_and_the_last_one_stops(stack: Stack) -> None:
    first = stack.use()
    postmaster = stack.postmaster()
    second = stack.use()
    assert stack.postmaster() == postmaster
    first.leave()
    time.sleep(0.3)
    assert stack.sql("SELECT word FROM kept") == [("first",)]
    second.leave()
    assert stack.is_down()


def test_a_new_folder_gets_a_utf8_cluster_and_a_private_password(empty_stack: Stack) -> None:
    user = empty_stack.use()
    assert user.refusal == ""
    assert empty_stack.sql("SHOW server_encoding") == [("UTF8",)]
    locale = "SELECT datlocale FROM pg_database WHERE datname = 'millrace'"
    assert empty_stack.sql(locale) == [("C.UTF-8",)]
    assert (empty_stack.place.password_file.stat().st_mode & 0o777) == 0o600


def test_settings_that_keep_committed_data_are_on(stack: Stack) -> None:
    stack.use()
    names = ("fsync", "synchronous_commit", "full_page_writes", "data_checksums")
    assert [stack.sql(f"SHOW {name}")[0][0] for name in names] == ["on"] * 4
    assert stack.sql("SHOW listen_addresses") == [("",)]


def test_six_users_at_once_share_one_server(empty_stack: Stack) -> None:
    users = [empty_stack.begin() for _ in range(6)]
    for user in users:
        user.hear()
    assert [user.refusal for user in users] == [""] * 6
    assert empty_stack.supervisor().is_running()  # exactly one, or this fails
    assert empty_stack.broker().is_running()
    for user in users:
        user.leave()
    assert empty_stack.is_down()


def test_a_user_killed_outright_is_not_counted_for_ever(stack: Stack) -> None:
    killed, other = stack.use(), stack.use()
    killed.kill()
    time.sleep(0.3)
    assert stack.sql("SELECT 1") == [(1,)]
    other.kill()
    assert stack.is_down()


def test_a_user_who_comes_while_the_servers_stop_gets_them_again(stack: Stack) -> None:
    for _ in range(3):
        leaving = stack.use()
        coming = stack.begin()
        leaving.leave()
        coming.hear()
        assert coming.refusal == ""
        assert stack.sql("SELECT word FROM kept") == [("first",)]
        coming.leave()


def test_a_forked_child_counts_and_asks_on_its_own(stack: Stack) -> None:
    parent = stack.use()
    parent.say("fork")
    parent.hear()  # the child's answer
    children = psutil.Process(parent.process.pid).children()
    parent.kill()
    time.sleep(0.3)
    assert stack.sql("SELECT 1") == [(1,)]
    children[0].kill()
    assert stack.is_down()


def test_a_terminated_supervisor_stops_both_servers(stack: Stack) -> None:
    user = stack.use()
    stack.supervisor().send_signal(signal.SIGTERM)
    assert stack.is_down()
    log = (stack.place.log / "postgres.log").read_text()
    assert log.rstrip().endswith("database system is shut down")
    user.join_again()
    assert user.refusal == ""


def test_servers_given_by_address_leave_the_folder_alone(empty_stack: Stack) -> None:
    user = empty_stack.use(DATABASE_URL="postgres://elsewhere/db", REDIS_URL="redis://elsewhere")
    assert user.refusal == ""
    assert empty_stack.processes() == []
    assert not empty_stack.home.exists()


def test_only_the_server_without_an_address_is_started(stack: Stack) -> None:
    stack.use(REDIS_URL="redis://elsewhere")
    assert stack.sql("SELECT 1") == [(1,)]
    assert not stack.place.broker_socket.exists()


def test_sockets_are_closed_to_other_users(stack: Stack) -> None:
    stack.use()
    mode = stack.place.sockets.stat().st_mode & 0o777
    assert mode == 0o700
    assert (stack.place.supervisor_socket.stat().st_mode & 0o777) == 0o600


def test_a_path_too_long_for_a_socket_works_and_leaves_nothing_behind(stack: Stack) -> None:
    deep = stack.home.parent / ("d" * 60) / ("e" * 60)
    deep.parent.mkdir(mode=0o711)
    stack.home.rename(deep)
    home, stack.home = stack.home, deep
    runtime = stack.place.runtime
    assert runtime.parent == Path("/tmp")
    user = stack.use()
    assert user.refusal == ""
    assert stack.sql("SELECT word FROM kept") == [("first",)]
    user.leave()
    assert stack.is_down()
    assert eventually(lambda: not runtime.exists())
    deep.rename(home)
    deep.parent.rmdir()
    stack.home = home
