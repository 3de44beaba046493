"""Taking uploads in against ``\\copy`` and bare binary COPY (``tests.benchmarks.ingest``).

Always the wall's clock: the three are measured in turn, so that other work slows each of them.
"""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from pathlib import Path

from tests.benchmarks import ingest
from tests.benchmarks.speed import bars
from tests.benchmarks.speed.bars import Figure, Run

LEAST = 0.7


def measure(run: Run) -> Iterator[Figure]:
    """Ratios of speeds, round by round, with the interval of their median."""
    uploads, rounds = run.size(20, 2), run.size(7, 2)
    system, packed, rows_each = ingest.bodies(uploads)
    ingest.take_everything_in(system, packed)  # makes partitions, warms up
    ours, copied, bare = [], [], []
    with tempfile.TemporaryDirectory() as folder:
        Path(folder).chmod(0o755)
        file = Path(folder) / "rows.csv"
        columns = ingest.write_rows(file)
        limit = ingest.ready_rows(system, packed)
        ingest.copy(file, columns)
        for _ in range(rounds):
            ours.append(ingest.take_everything_in(system, packed))
            copied.append(ingest.copy(file, columns))
            bare.append(ingest.bare(*limit))
    rows = rows_each * uploads
    for name, times in (("taking in", ours), ("\\copy", copied), ("binary COPY", bare)):
        yield bars.of(name, "rows/s", [rows / it for it in times], note=f"{rows:,} rows")
    for name, times, bar in (("taking in", ours, LEAST), ("binary COPY", bare, None)):
        ratios = [a / b for a, b in zip(copied, times, strict=True)]
        middle, (low, high) = bars.of("", "", ratios).value, ingest.interval(ratios)
        told = f"{rounds} rounds, 95 % interval of the median"
        named = f"{name}, speed of \\copy"
        yield Figure(named, "times", middle, low, high, bar, at_least=True, note=told)


if __name__ == "__main__":
    raise SystemExit(bars.main(measure))
