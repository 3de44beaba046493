"""Puts small faults into ``diagnostics/``, one at a time, and counts those that its tests find.

    python -m tests.mutation --sample 300 --seed 1
    python -m tests.mutation --coverage

Needs the extra ``mutation``. Equal seeds give equal faults. A fault counts as found when a test
that runs its line fails (tests of more than 2 s are left out), as hung when one does not end, and
as missed after all of them or 10 s. Missed ones are printed; none is taken out of the count.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path

from statsmodels.stats.proportion import proportion_confint

from tests.mutation import mutants, recording, trial

BRANCHES_BAR, FOUND_BAR = 95.0, 0.85
_EVERY = 25


def _given() -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--sample", type=int, default=300, help="how many places get a fault")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--only", metavar="FILE", default="", help="faults of one file or folder")
    parser.add_argument("--coverage", action="store_true", help="only lines and branches not run")
    parser.add_argument("--recorded", type=Path, metavar="FOLDER", help="what the tests run, kept")
    return parser.parse_args()


def _say(text: str) -> None:
    print(text, flush=True)  # noqa: T201


def main() -> int:
    """Print what was missed and the score; 1 below the bar."""
    given = _given()
    folder = given.recorded or Path(tempfile.mkdtemp(prefix="millrace-mutation-"))
    recorded = recording.record(folder)
    if given.coverage:
        branches = recording.report(folder)
        _say(f"{branches:.1f} % of the branches")
        return int(branches < BRANCHES_BAR)
    trial.prepare()
    _check(recorded)
    faults = [each for each in mutants.every() if each.path.startswith(given.only)]
    chosen = mutants.sample(faults, given.sample, given.seed)
    kinds: Counter[str] = Counter()
    for number, fault in enumerate(chosen, start=1):
        kinds[_try(fault, recorded)] += 1
        if number % _EVERY == 0:
            _say(f"{number} tried, {kinds['missed']} missed")
    return _score(kinds, len({fault.place for fault in faults}))


def _check(recorded: recording.Recording) -> None:
    tests = recorded.all_tests()
    sound = trial.outcome(tests, None, budget_s=3600.0)
    if sound.kind != "missed" or sound.run != len(tests):
        raise SystemExit(f"without any fault: {sound}, of {len(tests)} tests")


def _try(fault: mutants.Mutant, recorded: recording.Recording) -> str:
    begun = time.monotonic()
    tests = recorded.tests_of(fault.path, fault.line)
    told = trial.outcome(tests, (fault.module, fault.source()))
    if told.kind == "missed":
        took = time.monotonic() - begun
        _say(f"missed by {told.run} of {len(tests)} tests in {took:.0f} s: {fault.told()}")
    return told.kind


def _score(kinds: Counter[str], places: int) -> int:
    size, found = kinds.total(), kinds["found"] + kinds["hung"]
    low, high = proportion_confint(found, size, method="wilson")
    _say(
        f"{size} of {places} places: {kinds['found']} found, {kinds['hung']} hung, "
        f"{kinds['missed']} missed: {100 * found / size:.1f} % "
        f"(95 % interval {100 * low:.1f} to {100 * high:.1f})"
    )
    return int(found < FOUND_BAR * size)


if __name__ == "__main__":
    sys.exit(main())
