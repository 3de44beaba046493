"""What a sample that arrives late sets going: days analysed, windows written, and their share.

A system has its record analysed; then one instant between two others in the middle of it arrives.
What was written is told by the row versions of PostgreSQL, not by the program's own account.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import timedelta
from time import perf_counter

import numpy as np
import polars as pl

from fixtures.simulator.spec import Segment
from tests.benchmarks.load import NOON, recorded
from tests.benchmarks.speed import bars
from tests.benchmarks.speed.bars import Figure, Run

# Below the lines above, which start the private database.
from django.db import connection  # isort: skip

from fleet.analysis import backlog, days  # isort: skip
from fleet.ingest.receive import receive  # isort: skip
from fleet.ingest.take_in import take_in  # isort: skip
from fleet.models import DueDay, System, UploadState  # isort: skip

MOST_DAYS, WINDOWS_A_DAY = 2, 96
_VERSIONS = "SELECT start, xmin::text FROM fleet_window WHERE system_id = %s"


def _send(system: System, frame: pl.DataFrame) -> None:
    upload, _ = receive(system, "log.csv", frame.write_csv().encode())
    done = take_in(upload.pk)
    assert done.state == UploadState.TAKEN_IN, done.reasons


def _versions(system: System) -> set[tuple[object, ...]]:
    with connection.cursor() as cursor:
        cursor.execute(_VERSIONS, [system.pk])
        return set(cursor.fetchall())


def measure(run: Run) -> Iterator[Figure]:
    """One late instant at noon, and one just before midnight."""
    record = run.size(28, 4)
    start = NOON - timedelta(days=record, hours=12)
    system, recording, frame = recorded(start, Segment(timedelta(days=record), 300))
    stamps = recording.time - np.datetime64(start.replace(tzinfo=None))
    middle = np.timedelta64(record // 2, "D")
    hours = {"noon": 12, "just before midnight": 24}
    late = {
        name: int(np.searchsorted(stamps, middle + np.timedelta64(it, "h"))) - 1
        for name, it in hours.items()
    }
    kept = [at for at in range(len(frame)) if at not in late.values()]
    _send(system, frame[kept])
    began = perf_counter()
    backlog.drain([system.pk])
    whole_s = perf_counter() - began
    for name, at in late.items():
        _send(system, frame[[at]])
        due = DueDay.objects.filter(days.runnable(), system=system).count()
        before, began = _versions(system), perf_counter()
        backlog.drain([system.pk])
        took_s = perf_counter() - began
        written = len(_versions(system) - before)
        yield bars.of(f"late at {name}: days analysed", "days", [due], MOST_DAYS)
        most = MOST_DAYS * WINDOWS_A_DAY
        yield bars.of("  windows written", "rows", [written], most, note=f"of {len(before)}")
        share = 100.0 * took_s / whole_s
        yield bars.of("  share of the whole record's time", "%", [share], note=f"{record} days")


if __name__ == "__main__":
    raise SystemExit(bars.main(measure))
