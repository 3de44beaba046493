"""Taking uploads in against ``\\copy`` and bare binary COPY (``tests.benchmarks.ingest``).

Always the wall's clock: the three are measured in turn, so that other work slows each of them.
"""

from __future__ import annotations

import statistics
from collections.abc import Iterator

from tests.benchmarks import ingest
from tests.benchmarks.speed import bars
from tests.benchmarks.speed.bars import Figure, Run

LEAST = 0.7


def measure(run: Run) -> Iterator[Figure]:
    """Ratios of speeds, round by round, with the interval of their median."""
    rounds = run.size(7, 2)
    raced = ingest.race(run.size(20, 2), rounds)
    for name, times in raced.seconds.items():
        speeds = [raced.rows / it for it in times]
        yield bars.of(name, "rows/s", speeds, note=f"{raced.rows:,} rows")
    for name, bar in ((ingest.TAKE_IN, LEAST), (ingest.BARE, None)):
        ratios = raced.ratios(name)
        middle, (low, high) = statistics.median(ratios), ingest.interval(ratios)
        told = f"{rounds} rounds, 95 % interval of the median"
        named = f"{name}, speed of \\copy"
        yield Figure(named, "times", middle, low, high, bar, at_least=True, note=told)


if __name__ == "__main__":
    raise SystemExit(bars.main(measure))
