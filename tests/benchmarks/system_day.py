"""One system-day at 10 s with eight indoor units, from file to verdict: where the time goes.

python -m tests.benchmarks.system_day
"""

from __future__ import annotations

import dataclasses
import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path

from fixtures.plants import Wish, draw_plant
from fixtures.simulator.simulate import simulate
from fixtures.simulator.spec import LogStyle, Segment
from fixtures.simulator.write import SiteSpec, write_site
from tests.benchmarks import private

START = datetime(2026, 6, 10, tzinfo=UTC)
ROUNDS = 5


def _site(folder: Path) -> Path:
    """A site of one system with eight indoor units, every channel logged for one day."""
    wish = Wish("R1", START, (Segment(timedelta(days=1), 10),), unit_count=8)
    spec = draw_plant(1, wish)
    spec = dataclasses.replace(spec, style=LogStyle(dropped_rows=0.0))
    site = SiteSpec("bench", "Bench", "bench", "Bench", "UTC", (spec,), compressed=True)
    return write_site(folder / "bench", site, [simulate(spec)])


def _timed(step: Callable[[], object]) -> float:
    begin = time.perf_counter()
    step()
    return time.perf_counter() - begin


def main() -> int:
    """Print the median of each step over some rounds, each into an empty store."""
    private.prepare()
    with tempfile.TemporaryDirectory() as name:
        folder = _site(Path(name))
        rounds = [_round(folder) for _ in range(ROUNDS + 1)][1:]
    total = 0.0
    for step in rounds[0]:
        median = statistics.median(one[step] for one in rounds)
        total += median
        sys.stdout.write(f"{step:36} {median * 1e3:8.0f} ms\n")
    sys.stdout.write(f"{'file to verdict':36} {total * 1e3:8.0f} ms\n")
    return 0


def _round(folder: Path) -> dict[str, float]:
    from fleet.analysis import days, standing
    from fleet.ingest import manifest, receive, take_in
    from fleet.models import Client, DueDay, Site

    Site.objects.all().delete()
    Client.objects.all().delete()
    site = manifest.register(folder)
    system = site.systems.get()
    (file,) = (folder / "R1").iterdir()
    seconds = {}
    stored = []
    seconds["keep the bytes"] = _timed(
        lambda: stored.append(receive.receive(system, file.name, file.read_bytes())[0])
    )
    seconds["gunzip, parse, validate, merge"] = _timed(lambda: take_in.take_in(stored[0].pk))
    due = list(DueDay.objects.filter(system=system).values_list("day", flat=True))
    seconds["read, analyse, keep windows"] = _timed(
        lambda: [days.analyse_day(system.pk, day) for day in due]
    )
    seconds["events and standing"] = _timed(lambda: standing.refresh(system.pk))
    return seconds


if __name__ == "__main__":
    raise SystemExit(main())
