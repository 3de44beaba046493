"""The command line; see the package."""

from __future__ import annotations

import argparse
import sys
import time
from collections.abc import Iterable

from tests.benchmarks import judgement
from tests.benchmarks.judgement import exam, examine, groups
from tests.benchmarks.judgement.groups import Size


def main() -> int:
    """Print what was asked for; 1 when a bar is not met."""
    options = _options()
    seed = groups.HALVES[options.half] if options.seed is None else options.seed
    size = Size(seed, options.systems, options.days)
    if options.half == "tuning":
        sys.stderr.write("note: numbers may be chosen on this half; it proves nothing\n")
    begun = time.monotonic()
    outcomes = examine.outcomes(groups.everyone(size), options.workers, keep=not options.fresh)
    _write(_listed(outcomes) if options.list else ())
    _write(exam.lines(outcomes))
    unmet = exam.unmet(figure for _, made in exam.sections(outcomes) for figure in made)
    _write(
        [
            "",
            f"{len(outcomes)} systems, seed {seed}, {time.monotonic() - begun:.0f} s",
            f"{len(unmet)} bars not met" + "".join(f"\n  {words}" for words in unmet),
        ]
    )
    return 1 if unmet else 0


def _options() -> argparse.Namespace:
    parser = argparse.ArgumentParser(
        description=judgement.__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--half", choices=list(groups.HALVES), default="exam")
    parser.add_argument("--seed", type=int, help="another seed than that of the half")
    parser.add_argument("--systems", type=int, default=400, help="systems of the mixture")
    parser.add_argument("--days", type=float, default=7.0)
    parser.add_argument("--workers", type=int, default=examine.WORKERS)
    parser.add_argument("--fresh", action="store_true", help="neither read nor write the cache")
    parser.add_argument("--list", action="store_true", help="a line for every system")
    return parser.parse_args()


def _listed(outcomes: list[examine.Outcome]) -> Iterable[str]:
    for outcome in outcomes:
        mark = " " if outcome.right else "*"
        told = ",".join(outcome.faults or outcome.lookalikes)
        yield (
            f"{mark} {outcome.group:17} {'+'.join(outcome.truths):22} {told:34} -> "
            f"{outcome.leading:22} {outcome.stated:.2f} {outcome.why[:110]}"
        )


def _write(lines: Iterable[str]) -> None:
    for line in lines:
        sys.stdout.write(line + "\n")


if __name__ == "__main__":
    raise SystemExit(main())
