"""How cost grows with a system's history and with the number of systems, as fitted exponents.

    python -m tests.benchmarks.growth --days 14,56,224,896 --systems 10,100,1000,10000

Processor time of this process and of its database connection's backend, medians of a few rounds,
so that other work on the machine says little. An exponent is the slope of the straight line
through the logarithms: 0 where it costs the same however much there is, 1 where it costs as much
more as there is more. An upload is an hour of one system of eight units at 10 s, taken in,
analysed and settled; pages are asked for by somebody who sees everything.
"""

from __future__ import annotations

import argparse
import statistics
import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import timedelta
from functools import partial
from itertools import pairwise
from time import process_time

import numpy as np
import polars as pl
import psutil

from fixtures.simulator.spec import Segment
from tests.benchmarks.load import (
    INTERVAL_S,
    NOON,
    OF_ONE_THAT_SENDS,
    fleet,
    give_history,
    lengthen,
    recorded,
)

# Below the line above, which starts the private database.
from django.contrib.auth import get_user_model  # isort: skip
from django.db import connection  # isort: skip
from django.test import Client  # isort: skip

from fleet import tasks  # isort: skip
from fleet.analysis import backlog  # isort: skip
from fleet.ingest.receive import receive  # isort: skip
from fleet.ingest.take_in import take_in  # isort: skip
from fleet.models import System, Upload, UploadState  # isort: skip

PATTERN_DAYS = 14
ROUNDS = 5
FLAT, LINEAR = 0.15, 1.1
"""Largest exponents allowed: of an upload, and of anything."""


@dataclass(frozen=True)
class Measured:
    """Processor time [ms] of one thing at several sizes."""

    name: str
    most: float
    sizes: list[int]
    cost_ms: list[float]

    @property
    def exponent(self) -> float:
        """Slope of the logarithms."""
        return float(np.polyfit(np.log(self.sizes), np.log(self.cost_ms), 1)[0])

    def __str__(self) -> str:
        """The row of the table."""
        costs = "".join(f"{cost:9.1f}" for cost in self.cost_ms)
        return f"{self.name:<32}{costs}   exponent {self.exponent:5.2f} (most {self.most})"


def pattern() -> tuple[System, list[bytes]]:
    """A system with two weeks analysed and half a day of samples, and the hours it sends next."""
    system, recording, frame = recorded(
        NOON - timedelta(days=PATTERN_DAYS, hours=12),
        Segment(timedelta(days=PATTERN_DAYS), 300),
        Segment(timedelta(hours=18), INTERVAL_S),
    )
    hour = (recording.time - np.datetime64(NOON.replace(tzinfo=None))) // np.timedelta64(1, "h")
    bodies = [
        frame.filter(pl.Series(chosen)).write_csv().encode()
        for chosen in (hour < 0, *(hour == at for at in range(ROUNDS + 1)))
    ]
    send(system, bodies[0])
    return system, bodies[1:]


def send(system: System, body: bytes) -> None:
    """An upload as the workers see it through."""
    upload, _ = receive(system, "log.csv", body)
    done = take_in(upload.pk)
    assert done.state == UploadState.TAKEN_IN, done.reasons
    backlog.work_off(system.pk)


def cost_ms(steps: list[Callable[[], object]]) -> float:
    """Median processor time of steps, of this process and of its backend."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT pg_backend_pid()")
        backend = psutil.Process(cursor.fetchone()[0])

    def spent() -> float:
        times = backend.cpu_times()
        return process_time() + float(times.user + times.system)

    found = []
    for step in steps:
        began = spent()
        step()
        found.append(spent() - began)
    return statistics.median(found) * 1e3


def somebody() -> Client:
    """Signed in, sees everything."""
    client = Client(SERVER_NAME="localhost")
    client.force_login(get_user_model().objects.create_superuser("bench", "b@example.org", "x"))
    return client


def page(client: Client, address: str) -> Callable[[], object]:
    """A step that asks for a page."""

    def ask() -> None:
        answer = client.get(address)
        assert answer.status_code == 200, (address, answer.status_code)

    return ask


def by_history(
    system: System, hours: list[bytes], lengths: list[int], client: Client
) -> Iterator[Measured]:
    """What a longer history costs."""
    site = f"/sites/{system.site.code}/"
    pages = {"building's page": site, "building's months": f"{site}months/"}
    costs: dict[str, list[float]] = {name: [] for name in ("upload", *pages)}
    known = PATTERN_DAYS
    for days in lengths:
        lengthen(system, known, days)
        known = days
        send(system, hours[0])
        costs["upload"].append(cost_ms([partial(send, system, body) for body in hours[1:]]))
        for name, address in pages.items():
            page(client, address)()
            costs[name].append(cost_ms([page(client, address)] * ROUNDS))
        forget_the_afternoon(system)
    for name, found in costs.items():
        yield Measured(name, FLAT if name == "upload" else LINEAR, lengths, found)


def forget_the_afternoon(system: System) -> None:
    """So that the same hours can be sent again."""
    Upload.objects.filter(system=system).delete()
    with connection.cursor() as cursor:
        cursor.execute("DELETE FROM samples WHERE system_id = %s AND ts >= %s", [system.pk, NOON])


def by_systems(
    model: System, hours: list[bytes], sizes: list[int], client: Client
) -> Iterator[Measured]:
    """What more systems cost."""
    costs: dict[str, list[float]] = {"upload": [], "sweep": [], "ranking's page": []}
    for before, size in pairwise((0, *sizes)):
        made = fleet(model, size - before, first=before)
        senders = made[-ROUNDS - 1 :]
        give_history(model, senders, *OF_ONE_THAT_SENDS)
        give_history(model, made, "fleet_standing")
        send(senders[0], hours[0])
        costs["upload"].append(cost_ms([partial(send, system, hours[0]) for system in senders[1:]]))
        costs["sweep"].append(cost_ms([tasks.sweep] * ROUNDS))
        page(client, "/")()
        costs["ranking's page"].append(cost_ms([page(client, "/")] * ROUNDS))
    for name, found in costs.items():
        yield Measured(name, FLAT if name == "upload" else LINEAR, sizes, found)


def main() -> int:
    """Print both tables; 1 where an exponent is too large."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--days", default="14,56,224,896", help="lengths of history")
    parser.add_argument("--systems", default="10,100,1000,10000", help="numbers of systems")
    given = parser.parse_args()
    days, systems = ([int(it) for it in text.split(",")] for text in (given.days, given.systems))
    client = somebody()
    model, hours = pattern()
    found: list[Measured] = []
    for what, sizes, rows in (
        ("systems", systems, by_systems(model, hours, systems, client)),
        ("days of history", days, by_history(model, hours, days, client)),
    ):
        print(f"ms, at {what:<25}" + "".join(f"{size:9}" for size in sizes))  # noqa: T201
        for row in rows:
            print(row)  # noqa: T201
            found.append(row)
    return 0 if all(row.exponent <= row.most for row in found) else 1


if __name__ == "__main__":
    sys.exit(main())
