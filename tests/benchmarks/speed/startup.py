"""How long a command takes to start, the database apart, for that already runs.

`help` and each command's own help say what importing costs; `rank` on an empty fleet also checks
the installation, loads every address and asks the database.
"""

from __future__ import annotations

import os
import resource
import subprocess
import sys
import time
from collections.abc import Iterator

from tests.benchmarks import private
from tests.benchmarks.speed import bars
from tests.benchmarks.speed.bars import Figure, Run
from tests.embedded.harness import REPOSITORY

private.prepare()

from django.core.management import get_commands  # noqa: E402  needs the line above

MOST_S = 1.0


def _times_s(arguments: list[str], run: Run, rounds: int) -> list[float]:
    found = []
    for _ in range(rounds + 1):  # the first reads files that the others find in memory
        before, began = resource.getrusage(resource.RUSAGE_CHILDREN), time.perf_counter()
        subprocess.run(
            [sys.executable, *arguments],
            cwd=REPOSITORY, check=True, stdout=subprocess.DEVNULL, env=os.environ,
        )  # fmt: skip
        after, ended = resource.getrusage(resource.RUSAGE_CHILDREN), time.perf_counter()
        cpu = after.ru_utime - before.ru_utime + after.ru_stime - before.ru_stime
        found.append(cpu if run.by == "cpu" else ended - began)
    return found[1:]


def measure(run: Run) -> Iterator[Figure]:
    """Every command of our own."""
    rounds = run.size(7, 2)
    bare = _times_s(["-c", "import django, numpy, polars"], run, rounds)
    yield bars.of("floor: Python, Django, NumPy, Polars", "s", bare)
    yield bars.of("rank, an empty fleet", "s", _times_s(["manage.py", "rank"], run, rounds), MOST_S)
    yield bars.of("help", "s", _times_s(["manage.py", "help"], run, rounds), MOST_S)
    own = sorted(name for name, app in get_commands().items() if app == "fleet")
    for name in own[: run.size(len(own), 1)]:
        took = _times_s(["manage.py", name, "--help"], run, rounds)
        yield bars.of(f"{name} --help", "s", took, MOST_S)


if __name__ == "__main__":
    raise SystemExit(bars.main(measure))
