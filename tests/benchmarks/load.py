"""Gateways of many systems on loopback against the whole stack: does it keep up, and how late?

    python -m tests.benchmarks.load --systems 2000 --seconds 120

Systems of eight indoor units log every 10 s and send each --every seconds. Those whose turn comes
within the time measured have half a day of samples and --history days of results, as they would
have in the middle of a day; the stack is `manage.py up` with its own worker processes. The delay
runs from the moment an upload is received to that when its system's place in the ranking holds it.
"""

from __future__ import annotations

import argparse
import http.client
import json
import sys
import threading
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from urllib.parse import urlsplit

import numpy as np
import polars as pl
import psutil

from fixtures.plants import CLIMATES, Wish, draw_plant
from fixtures.simulator.simulate import Recording, simulate
from fixtures.simulator.spec import LogStyle, Segment
from fixtures.simulator.write import SiteSpec, manifest, upload_frame
from tests.acceptance.trial import up
from tests.benchmarks import private

private.prepare()

from django.db import connection  # noqa: E402  needs the line above

from fleet import embedded  # noqa: E402
from fleet.analysis import backlog, standing  # noqa: E402
from fleet.ingest.manifest import register  # noqa: E402
from fleet.ingest.receive import receive  # noqa: E402
from fleet.ingest.take_in import take_in  # noqa: E402
from fleet.models import IndoorUnit, PooledDay, Site, System, Upload, UploadToken  # noqa: E402
from tests.embedded.harness import Stack  # noqa: E402

NOON = datetime(2026, 7, 8, 12, tzinfo=UTC)
UNITS, INTERVAL_S, SYSTEMS_PER_SITE = 8, 10, 4
SIMULATED_DAYS = 28
GATEWAYS = 16
GOAL_P95_S = 300.0
PATIENCE_S = 600.0

OF_ONE_THAT_SENDS = ("samples", "sample_days", "fleet_window", "fleet_pooledday")
COPY_ROWS = """
INSERT INTO {table} (system_id, {columns}) SELECT %s, {columns} FROM {table} WHERE system_id = %s
"""
MORE_WINDOWS = """
INSERT INTO fleet_window (system_id, start, method_version, features)
SELECT system_id, start - %(by)s::interval, method_version, features
FROM fleet_window WHERE system_id = %(system)s AND start >= %(since)s AND start < %(until)s
"""
MORE_DAYS = """
INSERT INTO fleet_pooledday (system_id, day, method_version, features, judged_by, closed)
SELECT system_id, (day - %(by)s::interval)::date, method_version, features, '', '[]'
FROM fleet_pooledday WHERE system_id = %(system)s AND day >= %(since)s AND day < %(until)s
"""
COLUMNS = """
SELECT string_agg(quote_ident(attname), ', ' ORDER BY attnum) FROM pg_attribute
WHERE attrelid = %s::regclass AND attnum > 0 AND attname NOT IN ('id', 'system_id')
"""


@dataclass(frozen=True)
class Turn:
    """One upload of one system: when, and where to."""

    at_s: float
    path: str
    token: str


@dataclass
class Measured:
    """What became of the turns, and the processor time the stack took."""

    waited_s: list[float]
    delays_s: list[float]
    backlog: int
    cpu_s: float
    wall_s: float


def recorded(
    start: datetime,
    *segments: Segment,
    units: int = UNITS,
    site: str = "pattern",
    zone: str = "UTC",
) -> tuple[System, Recording, pl.DataFrame]:
    """A registered system, the recording of an office from ``start`` on, and its uploads' rows."""
    wish = Wish(
        code="R1",
        start=start,
        segments=segments,
        refrigerant="R-410A",
        use="office",
        climate=CLIMATES["southern"],
        unit_count=units,
        style=LogStyle(),
    )
    recording = simulate(draw_plant(11, wish))
    spec = SiteSpec("pattern", "Pattern", site, "Pattern", zone, (recording.spec,))
    return register(manifest(spec)).systems.get(), recording, upload_frame(spec, recording)


def pattern(history_days: int, every_s: int) -> tuple[System, bytes]:
    """A system with its history analysed, and the next upload it will send.

    A history of more than four weeks is that of four weeks again and again.
    """
    simulated_days = min(history_days, SIMULATED_DAYS)
    system, recording, frame = recorded(
        NOON - timedelta(days=simulated_days) - timedelta(hours=12),
        Segment(timedelta(days=simulated_days), 300),
        Segment(timedelta(hours=12, seconds=every_s), INTERVAL_S),
    )
    later = pl.Series(recording.time >= np.datetime64(NOON.replace(tzinfo=None)))
    upload, _ = receive(system, "history.csv", frame.filter(~later).write_csv().encode())
    take_in(upload.pk)
    backlog.drain([system.pk])
    lengthen(system, simulated_days, history_days)
    return system, frame.filter(later).write_csv().encode()


def lengthen(system: System, before: int, days: int) -> None:
    """Give a system with ``before`` days of results the same again, further back, to ``days``."""
    end = NOON.date()
    while before < days:
        some = min(before, days - before)
        blanks = {
            "system": system.pk,
            "by": timedelta(days=before),
            "since": end - timedelta(days=some),
            "until": end,
        }
        with connection.cursor() as cursor:
            cursor.execute(MORE_WINDOWS, blanks)
            cursor.execute(MORE_DAYS, blanks)
        before += some
    PooledDay.objects.filter(system=system).update(judged_by="")
    with connection.cursor() as cursor:
        cursor.execute("VACUUM ANALYZE")
    standing.refresh(system.pk)


def fleet(model: System, systems: int, first: int = 0) -> list[System]:
    """So many systems like the pattern, without data; sites of four, numbered from ``first`` on."""
    count = -(-systems // SYSTEMS_PER_SITE)
    sites = Site.objects.bulk_create(
        Site(
            client=model.site.client,
            code=f"site-{at}",
            name=f"Site {at}",
            timezone="UTC",
            altitude_m=model.site.altitude_m,  # plants alike to the last bit, results copied hold
        )
        for at in range(first, first + count)
    )
    kept = {f.name: getattr(model, f.name) for f in System._meta.concrete_fields}
    del kept["id"], kept["site"], kept["code"]
    made = System.objects.bulk_create(
        System(**kept, site=sites[at // SYSTEMS_PER_SITE], code=f"R{at}") for at in range(systems)
    )
    units = [
        {f.name: getattr(unit, f.name) for f in IndoorUnit._meta.concrete_fields} | {"id": None}
        for unit in model.indoor_in_order()
    ]
    IndoorUnit.objects.bulk_create(
        IndoorUnit(**unit | {"system": system}) for system in made for unit in units
    )
    return made


def give_history(model: System, systems: list[System], *tables: str) -> None:
    """Copy the pattern's rows of these tables to systems."""
    with connection.cursor() as cursor:
        for table in tables:
            cursor.execute(COLUMNS, [table])
            statement = COPY_ROWS.format(table=table, columns=cursor.fetchone()[0])
            for system in systems:
                cursor.execute(statement, [system.pk, model.pk])
        cursor.execute("ANALYZE")


def turns(systems: list[System], seconds: float, every_s: int) -> list[Turn]:
    """Who sends when; every system has its own moment in the interval."""
    apart_s = every_s / len(systems)
    sending = systems[: max(1, int(seconds / apart_s))]
    tokens: dict[int, str] = {}
    for system in sending:
        if system.site_id not in tokens:
            tokens[system.site_id] = UploadToken.objects.make(system.site)[1]
    return [
        Turn(
            at * apart_s,
            f"/api/v1/sites/{system.site.code}/systems/{system.code}/uploads",
            tokens[system.site_id],
        )
        for at, system in enumerate(sending)
    ]


def drive(address: str, plan: list[Turn], body: bytes) -> tuple[dict[str, float], list[float]]:
    """Send every upload at its time; when each was received, by id, and how long answers took."""
    began = time.monotonic()
    netloc = urlsplit(address).netloc
    received: dict[str, float] = {}
    answers: list[float] = []
    lock = threading.Lock()

    def send(turn: Turn) -> None:
        time.sleep(max(0.0, began + turn.at_s - time.monotonic()))
        asked = time.monotonic()
        connection = http.client.HTTPConnection(netloc, timeout=60)
        headers = {"Authorization": f"Bearer {turn.token}", "Content-Type": "text/csv"}
        connection.request("POST", turn.path, body, headers)
        answer = connection.getresponse()
        content = answer.read()
        connection.close()
        assert answer.status == 202, content
        with lock:
            received[json.loads(content)["upload"]] = time.monotonic()
            answers.append(time.monotonic() - asked)

    with ThreadPoolExecutor(GATEWAYS) as pool:
        list(pool.map(send, plan))
    return received, answers


class Watch(threading.Thread):
    """Notes when uploads become part of the ranking."""

    def __init__(self) -> None:
        super().__init__(daemon=True)
        self.seen: dict[str, float] = {}
        self.stopping = threading.Event()

    def run(self) -> None:
        """Ask twice a second."""
        while not self.stopping.wait(0.5):
            done = Upload.objects.filter(state="analysed").values_list("pk", flat=True)
            now = time.monotonic()
            for pk in done:
                self.seen.setdefault(str(pk), now)
        connection.close()


def cpu_s(pids: list[int]) -> float:
    """Processor time of processes and all under them, those that ended included."""
    total = 0.0
    for pid in pids:
        family = [psutil.Process(pid)]
        family += family[0].children(recursive=True)
        for process in family:
            try:
                times = process.cpu_times()
            except psutil.NoSuchProcess:
                continue
            total += times.user + times.system + times.children_user + times.children_system
    return total


def measure(stack: Stack, plan: list[Turn], body: bytes) -> Measured:
    """Run the stack under the plan."""
    with up(stack, Path(stack.home.parent) / "up.log") as (keeper, address):
        families = [keeper, stack.supervisor().pid]
        time.sleep(5.0)  # the worker's start
        watch = Watch()
        watch.start()
        began, before = time.monotonic(), cpu_s(families)
        received, answers = drive(address, plan, body)
        left = len(received.keys() - watch.seen.keys())
        until = time.monotonic() + PATIENCE_S
        while received.keys() - watch.seen.keys() and time.monotonic() < until:
            time.sleep(0.5)
        wall, spent = time.monotonic() - began, cpu_s(families) - before
        watch.stopping.set()
        watch.join()
    missing = received.keys() - watch.seen.keys()
    assert not missing, f"{len(missing)} uploads are not analysed after {PATIENCE_S:.0f} s"
    delays = [watch.seen[pk] - at for pk, at in received.items()]
    return Measured(answers, delays, left, spent, wall)


def lines(found: Measured, uploads: int, systems: int, every_s: int) -> Iterator[str]:
    """The figures, a line each."""
    each = found.cpu_s / uploads
    p50, p95 = np.percentile(found.delays_s, [50, 95])
    a50, a95 = np.percentile(np.array(found.waited_s) * 1e3, [50, 95])
    yield f"uploads              {uploads}, all in the ranking after {found.wall_s:.0f} s"
    yield f"answer               p50 {a50:.0f} ms, p95 {a95:.0f} ms"
    yield f"upload to ranking    p50 {p50:.1f} s, p95 {p95:.1f} s, most {max(found.delays_s):.1f} s"
    yield f"backlog at the end   {found.backlog} of them, when the last was sent"
    yield f"processor time       {each:.2f} s an upload: {systems / every_s * each:.2f} cores"
    yield f"two cores would do   {int(2 * every_s / each)} systems"


def main() -> int:
    """Print the figures; 1 if the delay is above the goal."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--systems", type=int, default=2000)
    parser.add_argument("--seconds", type=float, default=120.0)
    parser.add_argument("--every", type=int, default=3600, help="seconds of log in an upload")
    parser.add_argument("--at-once", action="store_true", help="all systems, after an outage")
    parser.add_argument("--history", type=int, default=28, help="days of results a system has")
    given = parser.parse_args()
    model, body = pattern(given.history, given.every)
    systems = fleet(model, given.systems)
    plan = turns(systems, given.every if given.at_once else given.seconds, given.every)
    if given.at_once:
        plan = [replace(turn, at_s=0.0) for turn in plan]
    give_history(
        model, systems[: len(plan)], "samples", "sample_days", "fleet_window", "fleet_pooledday"
    )
    give_history(model, systems, "fleet_standing")
    Upload.objects.all().delete()
    found = measure(Stack(embedded.locate().home), plan, body)
    rows = body.count(b"\n") - 1
    print(f"{given.systems} systems, {UNITS} units, {INTERVAL_S} s; uploads of {rows} rows")  # noqa: T201
    print(f"history              {given.history} days of results, half a day of samples")  # noqa: T201
    print("\n".join(lines(found, len(plan), given.systems, given.every)))  # noqa: T201
    p95 = float(np.percentile(found.delays_s, 95))
    return 0 if p95 <= GOAL_P95_S else 1


if __name__ == "__main__":
    sys.exit(main())
