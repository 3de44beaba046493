"""How every finding spreads over simulated systems of each condition: what weights.toml rounds.

    python -m tests.benchmarks.spread --systems 240

Uses the tuning half of the judgement benchmark, never the other.
"""

from __future__ import annotations

import argparse
import sys
from collections import defaultdict
from dataclasses import dataclass

import numpy as np

from diagnostics import pooling
from diagnostics.findings import REGISTRY, Context
from diagnostics.plant import Plant
from diagnostics.windows import Windows
from fixtures.exams import exam
from fixtures.simulator.spec import SystemSpec
from tests.benchmarks.analysed import by_days
from tests.benchmarks.judgement import cases
from tests.benchmarks.judgement.examine import each
from tests.benchmarks.judgement.groups import TUNING_SEED


@dataclass(frozen=True, eq=False)
class Rows:
    """Window rows of one system and its only condition; a sensor fault by its kind."""

    kind: str
    windows: Windows
    plant: Plant


def rows(spec: SystemSpec) -> Rows:
    """The window rows of one system."""
    samples, plant = cases.of(spec).seen()
    kind = spec.faults[0].kind if spec.condition == "sensor_fault" else spec.condition
    return Rows(kind, by_days(samples, plant).windows, plant)


def deviations(systems: list[Rows]) -> dict[str, dict[str, list[float]]]:
    """Deviation of every finding over each system's whole record: finding -> kind -> values."""
    found: dict[str, dict[str, list[float]]] = defaultdict(lambda: defaultdict(list))
    for system in systems:
        row = pooling.pool(system.windows)
        for finding in REGISTRY:
            measured = finding.measure(row, Context(system.plant))
            if measured.resting_s[0] > 0 and np.isfinite(measured.deviation[0]):
                found[finding.name][system.kind].append(float(measured.deviation[0]))
    return found


def main() -> int:
    """Print mean, spread and extremes per finding and condition."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--systems", type=int, default=240)
    parser.add_argument("--days", type=float, default=7.0)
    options = parser.parse_args()
    drawn = exam(TUNING_SEED, options.systems, options.days)
    systems = each(rows, [spec for spec in drawn if len(spec.conditions) == 1])
    for name, kinds in deviations(systems).items():
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
