"""Sends many broken and hostile inputs at whatever reads bytes from outside.

    python -m tests.fuzz --inputs 200000 --seed 1
    python -m tests.fuzz --seed 1 --only upload:4711

Equal seeds give equal inputs. Each has to end within 2 s of processor time and within the limit of
memory, in a result or in a refusal that says why; requests never in an answer of 500 or more, and
what is stored is what was acknowledged. Counts are printed by kind and outcome.
"""

from __future__ import annotations

import argparse
import os
import sys
import tempfile
from pathlib import Path

from tests.benchmarks import private

IN_MEMORY = ("upload", "mapping", "manifest")


def _given() -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--inputs", type=int, default=200_000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--first", type=int, default=0, help="number of the first input")
    parser.add_argument("--in-memory", action="store_true", help="nothing that needs a database")
    parser.add_argument("--only", metavar="KIND:NUMBER", help="one input again")
    parser.add_argument("--keep", type=Path, metavar="FOLDER", help="where inputs at fault are put")
    return parser.parse_args()


def main() -> int:
    """Print the counts; 1 if there is any fault."""
    given = _given()
    if given.in_memory:
        os.environ["DJANGO_SETTINGS_MODULE"] = "fleet.settings"
        os.environ["MILLRACE_DATA"] = tempfile.mkdtemp(prefix="millrace-fuzz-")
        private.django.setup()
    else:
        private.prepare()
    from tests.fuzz.course import Course  # needs the lines above

    course = Course(given.seed, given.keep, in_memory=given.in_memory)
    if given.only:
        kind, _, number = given.only.partition(":")
        course.one(kind, int(number))
    else:
        course.run(given.inputs, given.first)
    print("\n".join(course.tally.lines()))  # noqa: T201
    return 1 if course.tally.faults else 0


if __name__ == "__main__":
    sys.exit(main())
