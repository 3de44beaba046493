"""What a step takes: by the wall's clock, or in processor time of this process and its backend."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable
from pathlib import Path

import psutil

from tests.benchmarks.speed.bars import Clock

_NS = 1e-9


def backend() -> int:
    """Process number of what serves Django's connection."""
    from django.db import connection

    with connection.cursor() as cursor:
        cursor.execute("SELECT pg_backend_pid()")
        return int(cursor.fetchone()[0])


def spent_s(pid: int) -> float:
    """Processor time of another process so far, finer than ticks where Linux tells it."""
    told = Path(f"/proc/{pid}/schedstat")
    if told.exists():
        return int(told.read_text().split()[0]) * _NS
    times = psutil.Process(pid).cpu_times()
    return float(times.user + times.system)


def times_ms(
    steps: Iterable[Callable[[], object]], by: Clock = "cpu", *, database: bool = True
) -> list[float]:
    """Milliseconds of each step. ``database``: the backend's processor time counts as well."""
    pid = backend() if database and by == "cpu" else None

    def now_s() -> float:
        if by == "wall":
            return time.perf_counter()
        return time.process_time() + (spent_s(pid) if pid is not None else 0.0)

    found = []
    for step in steps:
        began = now_s()
        step()
        found.append((now_s() - began) * 1e3)
    return found
