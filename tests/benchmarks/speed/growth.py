"""Exponents of growth: systems, history, indoor units, people (``tests.benchmarks.growth``).

Always processor time. What a cost may grow by is written beside what it is measured by, there.
"""

from __future__ import annotations

from collections.abc import Iterator

from tests.benchmarks import growth
from tests.benchmarks.speed import bars
from tests.benchmarks.speed.bars import Figure, Run


def _sizes(run: Run, full: list[int], quick: list[int]) -> list[int]:
    return quick if run.quick else full


def measure(run: Run) -> Iterator[Figure]:
    """The fit's range stands where other figures have their quartiles."""
    client = growth.somebody()
    interval_s = run.size(growth.INTERVAL_S, 60)
    model, hours = growth.pattern(run.size(growth.PATTERN_DAYS, 2), interval_s=interval_s)
    days = _sizes(run, [14, 56, 224, 896], [2, 8])
    systems = _sizes(run, [10, 100, 1000, 10_000], [10, 40])
    units = _sizes(run, [2, 4, 8, 16, 32, 64], [2, 8])
    people = _sizes(run, [10, 100, 1000, 10_000], [10, 40])
    for what, rows in (
        ("systems", growth.by_systems(model, hours, systems, client)),
        ("days of history", growth.by_history(model, hours, days, client)),
        ("indoor units", growth.by_units(units, interval_s)),
        ("people", growth.by_people(people, client)),
    ):
        for row in rows:
            costs = ", ".join(f"{cost:.0f}" for cost in row.cost_ms)
            told = f"{row.sizes[0]:,} to {row.sizes[-1]:,}: {costs} ms"
            name = f"{row.name}, by {what}"
            yield Figure(name, "", row.exponent, *row.range, row.most, note=told)


if __name__ == "__main__":
    raise SystemExit(bars.main(measure))
