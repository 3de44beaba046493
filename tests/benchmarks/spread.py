"""How every finding spreads over simulated systems of each condition: what weights.toml rounds.

    python -m tests.benchmarks.spread --systems 120

Uses the tuning seed of the judgement benchmark, never another.
"""

from __future__ import annotations

import argparse
import sys
from collections import defaultdict

import numpy as np

from diagnostics import pooling
from diagnostics.findings import REGISTRY, Context
from tests.benchmarks.judgement import TUNING_SEED, Outcome, run


def deviations(outcomes: list[Outcome]) -> dict[str, dict[str, list[float]]]:
    """Deviation of every finding over each system's whole record: finding -> kind -> values."""
    found: dict[str, dict[str, list[float]]] = defaultdict(lambda: defaultdict(list))
    for outcome in outcomes:
        row = pooling.pool(outcome.windows)
        kind = outcome.truth if outcome.truth != "sensor_fault" else outcome.faults[0]
        for finding in REGISTRY:
            measured = finding.measure(row, Context(outcome.plant))
            if measured.resting_s[0] > 0 and np.isfinite(measured.deviation[0]):
                found[finding.name][kind].append(float(measured.deviation[0]))
    return found


def main() -> int:
    """Print mean, spread and extremes per finding and condition."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--systems", type=int, default=120)
    parser.add_argument("--days", type=float, default=7.0)
    options = parser.parse_args()
    for name, kinds in deviations(run(TUNING_SEED, options.systems, options.days)).items():
        sys.stdout.write(f"\n{name}\n")
        for kind, values in sorted(kinds.items()):
            quantiles = np.quantile(values, [0.0, 0.1, 0.5, 0.9, 1.0])
            numbers = " ".join(f"{q:8.2f}" for q in quantiles)
            sys.stdout.write(
                f"  {kind:36} n {len(values):3}  mean {np.mean(values):7.2f}  "
                f"spread {np.std(values):6.2f}  min 10% 50% 90% max {numbers}\n"
            )
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
