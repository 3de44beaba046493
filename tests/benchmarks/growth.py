"""How cost grows with history, systems, indoor units and people, as fitted exponents.

    python -m tests.benchmarks.growth --days 14,56,224,896 --systems 10,100,1000,10000

Processor time of this process and of its database connection's backend, medians of a few rounds,
so that other work on the machine says little. An exponent is the slope of the straight line
through the logarithms: 0 where it costs the same however much there is, 1 where it costs as much
more as there is more. An upload is an hour of one system of eight units at 10 s, taken in,
analysed and settled; pages are asked for by somebody who sees everything. The fit's range is that
of the exponents found with each size left out in turn.
"""

from __future__ import annotations

import argparse
import statistics
import sys
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import timedelta
from functools import partial
from itertools import pairwise

import numpy as np
import polars as pl

from fixtures.simulator.spec import Segment
from tests.benchmarks.load import (
    INTERVAL_S,
    NOON,
    OF_ONE_THAT_SENDS,
    UNITS,
    fleet,
    give_history,
    lengthen,
    recorded,
)
from tests.benchmarks.speed.clocks import times_ms

# Below the line above, which starts the private database.
from django.contrib.auth import get_user_model  # isort: skip
from django.contrib.auth.hashers import make_password  # isort: skip
from django.db import connection  # isort: skip
from django.test import Client  # isort: skip

from fleet import tasks  # isort: skip
from fleet.analysis import backlog  # isort: skip
from fleet.ingest.receive import receive  # isort: skip
from fleet.ingest.take_in import take_in  # isort: skip
from fleet.models import Membership, PersonSettings, Role, System, Upload, UploadState  # isort: skip
from fleet.notices import mails  # isort: skip

PATTERN_DAYS = 14
UNITS_PATTERN_DAYS = 2
ROUNDS = 5
FLAT, LINEAR = 0.15, 1.1
"""Largest exponents allowed: of an upload, and of anything."""

PASSWORD = "open sesame 42"
EVENING = NOON.replace(hour=20)


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
        return _slope(self.sizes, self.cost_ms)

    @property
    def range(self) -> tuple[float, float]:
        """Lowest and highest slope with one size left out; with two sizes, the slope itself."""
        if len(self.sizes) < 3:
            return self.exponent, self.exponent
        rows = list(zip(self.sizes, self.cost_ms, strict=True))
        without = (rows[:at] + rows[at + 1 :] for at in range(len(rows)))
        slopes = [_slope(*zip(*kept, strict=True)) for kept in without]
        return min(slopes), max(slopes)

    def __str__(self) -> str:
        """The row of the table."""
        costs = "".join(f"{cost:9.1f}" for cost in self.cost_ms)
        return f"{self.name:<32}{costs}   exponent {self.exponent:5.2f} (most {self.most})"


def _slope(sizes: Sequence[float], costs: Sequence[float]) -> float:
    return float(np.polyfit(np.log(sizes), np.log(costs), 1)[0])


def pattern(
    days: int = PATTERN_DAYS, units: int = UNITS, interval_s: int = INTERVAL_S
) -> tuple[System, list[bytes]]:
    """A system with days analysed and half a day of samples, and the hours it sends next."""
    system, recording, frame = recorded(
        NOON - timedelta(days=days, hours=12),
        Segment(timedelta(days=days), 300),
        Segment(timedelta(hours=18), interval_s),
        units=units,
        site=f"pattern-{units}",
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
    return statistics.median(times_ms(steps))


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
    """What a longer history costs, the shortest being the system's own."""
    site = f"/sites/{system.site.code}/"
    pages = {"building's page": site, "building's months": f"{site}months/"}
    costs: dict[str, list[float]] = {name: [] for name in ("upload", *pages)}
    known = lengths[0]
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


def by_units(numbers: list[int], interval_s: int = INTERVAL_S) -> Iterator[Measured]:
    """What more indoor units of one system cost."""
    costs = []
    for units in numbers:
        system, hours = pattern(UNITS_PATTERN_DAYS, units, interval_s)
        send(system, hours[0])
        costs.append(cost_ms([partial(send, system, body) for body in hours[1:]]))
    yield Measured("upload", LINEAR, numbers, costs)


def by_people(numbers: list[int], client: Client) -> Iterator[Measured]:
    """What more people of the organisation cost: each of them, and all together."""
    costs: dict[str, list[float]] = {
        name: [] for name in ("signing in", "ranking's page", "people's page", "daily digests")
    }
    for before, number in pairwise((0, *numbers)):
        hire(before, number)
        steps = [partial(sign_in, f"person-{number - 1 - at}") for at in range(ROUNDS)]
        costs["signing in"].append(cost_ms(list(steps)))
        for name, address in (("ranking's page", "/"), ("people's page", "/people/")):
            page(client, address)()
            costs[name].append(cost_ms([page(client, address)] * ROUNDS))
        costs["daily digests"].append(cost_ms([digests] * ROUNDS))
    for name, found in costs.items():
        yield Measured(name, FLAT if name == "signing in" else LINEAR, numbers, found)


def hire(first: int, number: int) -> None:
    """Technicians with one password, numbered from ``first`` up to ``number``."""
    model = get_user_model()
    hashed = make_password(PASSWORD)
    people = model.objects.bulk_create(
        model(username=f"person-{at}", email=f"p{at}@example.org", password=hashed)
        for at in range(first, number)
    )
    Membership.objects.bulk_create(Membership(user=it, role=Role.TECHNICIAN) for it in people)
    PersonSettings.objects.bulk_create(PersonSettings(user=it) for it in people)
    with connection.cursor() as cursor:
        cursor.execute("ANALYZE")


def sign_in(name: str) -> None:
    """As a browser does it."""
    answer = Client(SERVER_NAME="localhost").post(
        "/sign-in", {"username": name, "password": PASSWORD}
    )
    assert answer.status_code == 302, (name, answer.status_code)


def digests() -> None:
    """As on the first look of an evening: everybody is asked whether there is news for them."""
    PersonSettings.objects.update(digest_on=None)
    mails.queue_digests(EVENING)


def main() -> int:
    """Print all tables; 1 where an exponent is too large."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--days", default="14,56,224,896", help="lengths of history")
    parser.add_argument("--systems", default="10,100,1000,10000", help="numbers of systems")
    parser.add_argument("--units", default="2,4,8,16,32,64", help="numbers of indoor units")
    parser.add_argument("--people", default="10,100,1000,10000", help="numbers of people")
    given = parser.parse_args()
    days, systems, units, people = (
        [int(it) for it in text.split(",")]
        for text in (given.days, given.systems, given.units, given.people)
    )
    client = somebody()
    model, hours = pattern()
    found: list[Measured] = []
    for what, sizes, rows in (
        ("systems", systems, by_systems(model, hours, systems, client)),
        ("days of history", days, by_history(model, hours, days, client)),
        ("indoor units", units, by_units(units)),
        ("people", people, by_people(people, client)),
    ):
        print(f"ms, at {what:<25}" + "".join(f"{size:9}" for size in sizes))  # noqa: T201
        for row in rows:
            print(row)  # noqa: T201
            found.append(row)
    return 0 if all(row.exponent <= row.most for row in found) else 1


if __name__ == "__main__":
    sys.exit(main())
