"""Whether a worker's memory stays where it is while it works off windows by the thousand.

One process takes system-days in and analyses them one after the other, as a worker does that is
never replaced. The slope is that of a straight line through its resident memory after each day,
the first fifth left out, in which caches fill.
"""

from __future__ import annotations

import gzip
from collections.abc import Iterator
from datetime import timedelta

import numpy as np
import psutil

from fixtures.simulator.spec import Segment
from tests.benchmarks.load import NOON, recorded
from tests.benchmarks.speed import bars
from tests.benchmarks.speed.bars import Figure, Run

# Below the lines above, which start the private database.
from fleet import tasks  # isort: skip
from fleet.analysis import backlog  # isort: skip
from fleet.ingest.receive import receive  # isort: skip
from fleet.ingest.take_in import take_in  # isort: skip
from fleet.models import System, Window  # isort: skip

MOST_MIB = 10.0
"""Growth over 10,000 windows: a hundred system-days, some 2 % of what a worker holds."""

WINDOWS, WINDOWS_A_DAY, MIB = 10_000, 96, 2.0**20


def _work(system: System, name: str, body: bytes) -> None:
    upload, _ = receive(system, name, body)
    take_in(upload.pk)
    backlog.work_off(system.pk)
    tasks.sweep()


def measure(run: Run) -> Iterator[Figure]:
    """Two days at 10 s, sent again and again under later dates."""
    days, interval_s = run.size(-(-WINDOWS * 5 // 4 // WINDOWS_A_DAY), 10), run.size(10, 300)
    start = NOON - timedelta(hours=12)
    system, _, frame = recorded(start, Segment(timedelta(days=1), interval_s))
    text = frame.write_csv()
    process, held = psutil.Process(), []
    for at in range(days):
        day = (start + timedelta(days=at)).date()
        moved = text.replace(f"{start.date()}T", f"{day}T")
        _work(system, f"{day}.csv.gz", gzip.compress(moved.encode(), 1, mtime=0))
        held.append(process.memory_info().rss / MIB)
    windows = Window.objects.filter(system=system).count()
    steady = np.array(held[days // 5 :])
    done = np.arange(steady.size) * WINDOWS_A_DAY
    slope, _ = np.polyfit(done, steady, 1)
    told = f"{windows:,} windows; {held[0]:.0f} to {held[-1]:.0f} MiB held"
    grown = bars.of("memory by 10,000 windows", "MiB", [slope * WINDOWS], MOST_MIB, note=told)
    yield grown
    yield bars.of("  held", "MiB", held)


if __name__ == "__main__":
    raise SystemExit(bars.main(measure))
