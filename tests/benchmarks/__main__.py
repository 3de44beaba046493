"""Every bar on speed and cost, in one command.

    python -m tests.benchmarks                      # all parts
    python -m tests.benchmarks analyse ranking      # some of them
    python -m tests.benchmarks --quick --by cpu     # small sizes, on a machine that is busy

A row is a figure (median of its rounds), its quartiles, the bar, and whether that is met. Each part
runs in a process and a private database of its own. Times are the wall's; ``--by cpu`` takes
processor time, the database's included, where other work competes. Figures of ``--quick`` come from
small sizes and say little of the full ones. Exit status 1 when a bar is missed or a part fails.
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
from collections.abc import Iterator, Sequence

from tests.benchmarks.speed.bars import Figure
from tests.benchmarks.telling import say

PARTS = ("analyse", "ingest", "late", "ranking", "pages", "memory", "startup", "growth")
ONE_CORE = {"OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1", "MKL_NUM_THREADS": "1"}


def figures(part: str, options: Sequence[str]) -> Iterator[Figure]:
    """The figures of one part as they come.

    Raises subprocess.CalledProcessError: the part failed; what it said is on standard error.
    """
    command = [sys.executable, "-m", f"tests.benchmarks.speed.{part}", *options]
    with subprocess.Popen(
        command, stdout=subprocess.PIPE, text=True, env=os.environ | ONE_CORE
    ) as process:
        assert process.stdout is not None
        for line in process.stdout:
            if line.startswith("{"):
                yield Figure.from_line(line)
    if process.returncode:
        raise subprocess.CalledProcessError(process.returncode, command)


def main(arguments: Sequence[str] | None = None) -> int:
    """Print all rows; 1 where a bar is missed."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("parts", nargs="*", metavar="PART", help=f"of {', '.join(PARTS)}")
    parser.add_argument("--quick", action="store_true", help="small sizes")
    parser.add_argument("--by", choices=("wall", "cpu"), default="wall", help="which clock")
    given = parser.parse_args(arguments)
    if unknown := [part for part in given.parts if part not in PARTS]:
        parser.error(f"no part {unknown[0]!r}: choose from {', '.join(PARTS)}")
    options = ["--by", given.by, *(["--quick"] if given.quick else [])]
    asked = missed = 0
    for part in given.parts or PARTS:
        say(f"\n{part}")
        try:
            for figure in figures(part, options):
                say(f"  {figure}")
                asked += figure.bar is not None
                missed += not figure.met
        except subprocess.CalledProcessError as error:
            say(f"  FAILED with exit status {error.returncode}")
            missed += 1
    load = os.getloadavg()[1]
    say(f"\n{missed} missed, {asked} asked; load {load:.1f} on {os.cpu_count()} processors")
    return int(missed > 0)


if __name__ == "__main__":
    raise SystemExit(main())
