"""How long a command takes to start, the database apart, for that already runs.

`help` and each command's own help say what importing costs; `rank` on an empty fleet also checks
the installation and asks the database. Byte code is kept, as Python does in an installation, but in
a folder of the benchmark's own.
"""

from __future__ import annotations

import os
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator

from tests.benchmarks import private
from tests.benchmarks.speed import bars
from tests.benchmarks.speed.bars import Figure, Run
from tests.embedded.harness import REPOSITORY

private.prepare()

from django.core.management import get_commands  # noqa: E402  needs the line above

MOST_S = 1.0


def _installed(folder: str) -> dict[str, str]:
    """The environment of a command whose byte code is kept in ``folder``."""
    kept = {name: it for name, it in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}
    return kept | {"PYTHONPYCACHEPREFIX": folder}


def _times_s(arguments: list[str], run: Run, rounds: int, env: dict[str, str]) -> list[float]:
    found = []
    for _ in range(rounds + 1):  # the first reads files that the others find in memory
        before, began = resource.getrusage(resource.RUSAGE_CHILDREN), time.perf_counter()
        subprocess.run(
            [sys.executable, *arguments],
            cwd=REPOSITORY, check=True, stdout=subprocess.DEVNULL, env=env,
        )  # fmt: skip
        after, ended = resource.getrusage(resource.RUSAGE_CHILDREN), time.perf_counter()
        cpu = after.ru_utime - before.ru_utime + after.ru_stime - before.ru_stime
        found.append(cpu if run.by == "cpu" else ended - began)
    return found[1:]


def measure(run: Run) -> Iterator[Figure]:
    """Every command of our own."""
    with tempfile.TemporaryDirectory() as folder:
        yield from _measure(run, _installed(folder))


def _measure(run: Run, env: dict[str, str]) -> Iterator[Figure]:
    rounds = run.size(7, 2)

    def times(*arguments: str) -> list[float]:
        return _times_s([*arguments], run, rounds, env)

    bare = times("-c", "import django, numpy, polars")
    yield bars.of("floor: Python, Django, NumPy, Polars", "s", bare)
    yield bars.of("rank, an empty fleet", "s", times("manage.py", "rank"), MOST_S)
    yield bars.of("help", "s", times("manage.py", "help"), MOST_S)
    own = sorted(name for name, app in get_commands().items() if app == "fleet")
    for name in own[: run.size(len(own), 1)]:
        yield bars.of(f"{name} --help", "s", times("manage.py", name, "--help"), MOST_S)


if __name__ == "__main__":
    raise SystemExit(bars.main(measure))
