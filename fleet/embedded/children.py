"""Start, find and stop server processes so that none outlives its owner."""

from __future__ import annotations

import contextlib
import ctypes
import os
import signal
import subprocess
import sys
from collections.abc import Callable, Iterable, Mapping, Sequence
from pathlib import Path
from typing import TypedDict

import psutil

from fleet.embedded.place import Account, Place

KEEPER = "MILLRACE_KEEPER"  # environment: id of the process that keeps this one
_PR_SET_PDEATHSIG = 1


def die_with_parent(signum: signal.Signals) -> None:
    """Have the kernel send `signum` to this process when its parent ends (Linux only).

    Elsewhere the next supervisor finds and stops what was left.
    """
    if sys.platform == "linux":
        ctypes.CDLL(None, use_errno=True).prctl(_PR_SET_PDEATHSIG, int(signum))


def end_with_keeper() -> None:
    """End this process when the one that keeps it (named in the environment) ends."""
    keeper = os.environ.get(KEEPER)
    if keeper is None:
        return
    die_with_parent(signal.SIGTERM)
    if os.getppid() != int(keeper):  # it ended before the line above
        sys.exit(1)


def launch(
    argv: Sequence[str | Path],
    *,
    cwd: Path,
    log: Path,
    account: Account | None,
    dies_by: signal.Signals,
) -> psutil.Process:
    """Start a server in the foreground, its output appended to `log`."""
    with log.open("ab") as output:
        return psutil.Popen(
            [os.fspath(part) for part in argv],
            stdin=subprocess.DEVNULL,
            stdout=output,
            stderr=subprocess.STDOUT,
            cwd=cwd,
            env=clean_environment(),
            preexec_fn=follow_parent(dies_by),  # safe: the supervisor has one thread
            **drop_to(account),
        )


def follow_parent(signum: signal.Signals) -> Callable[[], None]:
    """Return what a child has to do between fork and exec to end with this process."""
    parent = os.getpid()

    def follow() -> None:
        die_with_parent(signum)
        if os.getppid() != parent:  # it ended before the line above
            os._exit(1)

    return follow


def clean_environment() -> Mapping[str, str]:
    """Return an environment without PG*, locale and library settings of the caller."""
    return {"PATH": os.environ.get("PATH", os.defpath), "LC_ALL": "C", "TZ": "UTC"}


class Rights(TypedDict, total=False):
    """The arguments of `subprocess` that change the account."""

    user: int
    group: int
    extra_groups: list[int]


def drop_to(account: Account | None) -> Rights:
    """Return the `subprocess` arguments that give up root's rights."""
    if account is None:
        return {}
    return {"user": account.uid, "group": account.gid, "extra_groups": []}


def alive(process: psutil.Process | None) -> bool:
    """Tell whether a process still runs; reaps it when it was ours. A zombie is dead."""
    if process is None:
        return False
    try:
        process.wait(0)
    except psutil.TimeoutExpired:
        with contextlib.suppress(psutil.NoSuchProcess):
            return bool(process.status() != psutil.STATUS_ZOMBIE)
    return False


def works_in(pid: int, folder: Path, names: Iterable[str]) -> psutil.Process | None:
    """Return process `pid` if it is one of ours: named so, and at home in `folder`.

    A process id found in a file proves nothing: it may be dead, a zombie nobody reaped, or
    reused by a stranger.
    """
    try:
        process = psutil.Process(pid)
        if process.status() == psutil.STATUS_ZOMBIE or not process.name().startswith(tuple(names)):
            return None
        return process if Path(process.cwd()) == folder.resolve() else None
    except (psutil.Error, OSError, ValueError):
        return None


def working_in(folder: Path, names: Sequence[str]) -> list[psutil.Process]:
    """Find every live process named so that works in `folder`."""
    found = (works_in(pid, folder, names) for pid in psutil.pids())
    return [process for process in found if process]


def stop(process: psutil.Process, *signals: tuple[signal.Signals, float]) -> None:
    """Send each signal in turn, waiting its seconds for the end before the next."""
    for signum, seconds in (*signals, (signal.SIGKILL, 5.0)):
        with contextlib.suppress(psutil.NoSuchProcess):
            process.send_signal(signum)
        if _ended_within(process, seconds):
            return


class Server:
    """One server of a private stack. ``cancelled`` ends the wait for its start.

    A kind of server has the signals that stop it, each with the seconds given to it.
    """

    stop_signals: tuple[tuple[signal.Signals, float], ...]

    def __init__(self, place: Place, cancelled: Callable[[], bool] = lambda: False) -> None:
        self.place = place
        self.cancelled = cancelled
        self.process: psutil.Process | None = None

    def alive(self) -> bool:
        """Tell whether the process runs."""
        return alive(self.process)

    def stop(self) -> None:
        """Send the signals in turn, then end it by force."""
        if self.process and self.alive():
            stop(self.process, *self.stop_signals)
        self.process = None


def _ended_within(process: psutil.Process, seconds: float) -> bool:
    try:
        process.wait(seconds)
    except psutil.TimeoutExpired:
        return not alive(process)
    return True
