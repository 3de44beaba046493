"""The command line; see the package."""

from __future__ import annotations

import argparse
import sys
import time
from collections.abc import Callable, Iterable

from tests.benchmarks import judgement
from tests.benchmarks.judgement import ablation, degradation, exam, examine, figures, groups, leaks
from tests.benchmarks.judgement.figures import Figure
from tests.benchmarks.judgement.groups import Size


def main() -> int:
    """Print the parts asked for; 1 when a bar is not met."""
    options = _options()
    seed = groups.HALVES[options.half] if options.seed is None else options.seed
    size = Size(seed, options.systems, options.days)
    asked = [name for name in PARTS if getattr(options, name) or options.all]
    if options.half == "tuning":
        sys.stderr.write("note: numbers may be chosen on this half; it proves nothing\n")
    begun, made = time.monotonic(), list[Figure]()
    for part in asked or DEFAULT:
        lines, own = PARTS[part](size, options)
        _write(lines)
        made += own
    unmet = list(figures.unmet(made))
    barred = sum(figure.bar is not None for figure in made)
    _write(["", f"seed {seed}, {options.systems} systems of {options.days:g} days in the mixture"])
    _write([f"{time.monotonic() - begun:.0f} s; {len(unmet)} of {barred} bars not met"])
    _write(f"  {words}" for words in unmet)
    return 1 if unmet else 0


def _exam(size: Size, options: argparse.Namespace) -> Part:
    outcomes = examine.outcomes(groups.everyone(size), options.workers, keep=not options.fresh)
    listed = _listed(outcomes) if options.list else ()
    made = [figure for _, own in exam.sections(outcomes) for figure in own]
    return [*listed, *exam.lines(outcomes)], made


def _leaks(size: Size, options: argparse.Namespace) -> Part:
    return leaks.lines(size, options.workers, keep=not options.fresh)


def _ablation(size: Size, options: argparse.Namespace) -> Part:
    return ablation.ablated(size, options.workers, keep=not options.fresh)


def _naive(size: Size, options: argparse.Namespace) -> Part:
    return ablation.practised(size, options.workers, keep=not options.fresh)


def _degradation(size: Size, options: argparse.Namespace) -> Part:
    return degradation.lines(size, options.workers, keep=not options.fresh)


Part = tuple[list[str], list[Figure]]
PARTS: dict[str, Callable[[Size, argparse.Namespace], Part]] = {
    "exam": _exam,
    "leaks": _leaks,
    "ablation": _ablation,
    "naive": _naive,
    "degradation": _degradation,
}
DEFAULT = ("exam", "leaks")


def _options() -> argparse.Namespace:
    parser = argparse.ArgumentParser(
        description=judgement.__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    for name in PARTS:
        parser.add_argument(f"--{name}", action="store_true", help="this part only")
    parser.add_argument("--all", action="store_true", help="every part")
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
