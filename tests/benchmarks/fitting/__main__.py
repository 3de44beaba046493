"""Fit the likelihoods of weights.toml to the tuning fleets, and print or write what changes."""

from __future__ import annotations

import argparse
import re
import sys
from pathlib import Path

import numpy as np

from diagnostics.findings import REGISTRY
from diagnostics.samples import FloatArray
from diagnostics.verdict import CALLED_AT
from diagnostics.weighing import weigh
from tests.benchmarks.fitting import conditional, pools
from tests.benchmarks.fitting.conditional import Problem, Table
from tests.benchmarks.fitting.pools import Measured

FILE = Path(weigh.__file__).with_name("weights.toml")
_ENTRY = re.compile(r"(?P<name>\w+) = \{ mean = [-\d.]+, spread = [-\d.]+,")
_SECTION = re.compile(r"\[finding\.(?P<name>\w+)\]")
KEPT = ("subcooling_change",)
"""Findings that need a system's past, which these systems of one week have not."""


def rewritten(text: str, table: Table, hypotheses: tuple[str, ...]) -> str:
    """The text of weights.toml with the table's means and spreads, all else as it stands."""
    rows = {finding.name: row for row, finding in enumerate(REGISTRY)}
    section, lines = "", []
    for line in text.splitlines(keepends=True):
        if found := _SECTION.match(line):
            section = found["name"]
        entry = _ENTRY.match(line)
        if entry and section in rows and section not in KEPT:
            row, column = rows[section], hypotheses.index(entry["name"])
            mean, spread = table.mean[row, column], table.spread[row, column]
            numbers = f"{entry['name']} = {{ mean = {_round(mean)}, spread = {_round(spread)},"
            line = numbers + line[entry.end() :]
        lines.append(line)
    return "".join(lines)


def _round(value: float) -> str:
    """To three digits, and hundredths at the finest."""
    text = f"{value:.3g}" if abs(value) >= 0.1 else f"{value:.2f}"
    plain = f"{float(text):.6f}".rstrip("0")
    return plain + "0" if plain.endswith(".") else plain.replace("-0.0", "0.0", plain == "-0.0")


def told(measured: Measured, probabilities: FloatArray) -> str:
    """How the verdicts of these systems come out."""
    wrong = 1.0 - probabilities[:, 0]
    healthy = measured.true[:, 0] > 0
    called = wrong >= CALLED_AT
    leading = 1 + probabilities[:, 1:].argmax(axis=1)
    right = measured.true[np.arange(len(leading)), leading] > 0
    sure = (probabilities * measured.true).sum(axis=1)
    return (
        f"false alarms {np.count_nonzero(called & healthy)} of {np.count_nonzero(healthy)}, "
        f"missed {np.count_nonzero(~called & ~healthy)} of {np.count_nonzero(~healthy)}, "
        f"wrong name {np.count_nonzero(called & ~healthy & ~right)}, "
        f"mean log-likelihood {np.log(sure + 1e-12).mean():.4f}"
    )


def main() -> int:
    """Fit, tell how verdicts come out before and after, and write on request."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--share", type=float, default=1.0, help="of every pool")
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--write", action="store_true", help="change weights.toml")
    options = parser.parse_args()
    measured = pools.measured(pools.everyone(options.share), options.workers)
    weights = weigh.table()
    problem, start = Problem(measured, weights), conditional.table_of(weights)
    sys.stdout.write(f"before: {told(measured, problem.probabilities(start))}\n")
    fitted = conditional.fit(problem, start, say=lambda line: sys.stdout.write(line + "\n"))
    sys.stdout.write(f"after: {told(measured, problem.probabilities(fitted))}\n")
    text = rewritten(FILE.read_text(encoding="utf-8"), fitted, weights.hypotheses)
    if options.write:
        FILE.write_text(text, encoding="utf-8")
    else:
        sys.stdout.write(text)
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
