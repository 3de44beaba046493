"""The demo: a simulated fleet through the real way in, and three people to look at it."""

from __future__ import annotations

import secrets
from collections.abc import Callable
from concurrent.futures import Future, ProcessPoolExecutor, as_completed
from dataclasses import dataclass
from datetime import datetime, timedelta
from multiprocessing import get_context
from pathlib import Path

import django
from django.contrib.auth import get_user_model
from django.contrib.auth.models import User
from django.db import transaction
from django.db.models import Max, Q
from django.utils import timezone

from fixtures import demo
from fleet.analysis import backlog
from fleet.ingest.manifest import register
from fleet.ingest.receive import receive
from fleet.ingest.take_in import take_in
from fleet.models import (
    Client,
    Event,
    Membership,
    Role,
    Site,
    SiteVisit,
    Standing,
    System,
    UploadState,
    VisitOutcome,
)
from fleet.pages.event import arrange
from fleet.timeseries import store

RECENT = timedelta(days=7)
"""A demo whose data end longer ago than this gets the days since."""

PROCESSES = 2
"""Simulation and loading have as many each: they overlap, and neither waits for the other."""

Advance = Callable[[], None]


@dataclass(frozen=True)
class Person:
    """Somebody who looks at the demo. All names are invented."""

    username: str
    first_name: str
    last_name: str
    role: Role
    clients: tuple[str, ...] = ()


PEOPLE = (
    Person("manager", "Maren", "Holt", Role.MANAGER),
    Person("rep", "Idris", "Vale", Role.ACCOUNT_REP, ("copperline-estates", "tidemark-hotels")),
    Person("technician", "Suki", "Brandt", Role.TECHNICIAN),
)

NOTES = (
    "The tenant reports warm rooms in the afternoon. Please look at this one first.",
    "No complaint yet. On the same trip, if time allows.",
)
"""What the manager writes under the events given to the technician."""

PLACES = {
    "ferry-hall": ("London", 51.478, -0.214),
    "sedge-library": ("London", 51.535, -0.093),
    "stonebeck-gym": ("London", 51.561, -0.142),
    "lantern-theatre": ("London", 51.509, -0.121),
    "heron-hotel": ("Berlin", 52.507, 13.332),
    "pinegate-school": ("Berlin", 52.560, 13.210),
    "loomhouse": ("Berlin", 52.529, 13.441),
    "willowcross-clinic": ("Queensland", -27.472, 153.026),
    "sandbar-arcade": ("Queensland", -27.392, 153.110),
    "copperline-tower": ("Arizona", 33.450, -112.073),
    "glasswing-laboratory": ("Singapore", 1.296, 103.787),
    "saltmarsh-museum": ("Lisbon", 38.697, -9.206),
}
"""Where the invented buildings are said to stand: region, latitude and longitude in degrees."""

REPAIRED = (
    "A flare at the second branch box leaked: made anew, pressure and vacuum held. "
    "Recovered, weighed, charged to the nameplate and line allowance."
)
"""What the technician wrote after the scenario's repair."""


@dataclass(frozen=True)
class Loaded:
    """What became of one system's uploads."""

    system: str
    rows: int
    refused: tuple[str, ...]


def days_missing(now: datetime) -> int:
    """Days of history the demo fleet lacks: 0 when it is loaded and recent."""
    end = demo.latest_midnight(now)
    codes = [site.code for site in demo.sites(end)]
    systems = list(System.objects.filter(site__code__in=codes))
    expected = sum(len(site.systems) for site in demo.sites(end))
    extents = [store.extent(system.pk) for system in systems]
    settled = System.objects.filter(pk__in=[s.pk for s in systems], standing__isnull=False)
    if len(systems) < expected or None in extents or settled.count() < expected:
        return demo.DEFAULT_DAYS
    last = min(extent[1] for extent in extents if extent is not None)
    if now - last <= RECENT:
        return 0
    # Whole days from the last stored one on: a simulated day is never told twice differently.
    return min(demo.DEFAULT_DAYS, (end - last) // timedelta(days=1))


def load(folder: Path, days: int, now: datetime, advance: Advance) -> list[Loaded]:
    """Simulate the fleet, take its uploads in and analyse them; one result a system.

    Files come to lie in ``folder``. ``advance`` is called when a system is written, and again
    when it is analysed.
    """
    end = demo.latest_midnight(now)
    jobs: list[Future[Loaded]] = []
    # A fresh interpreter: a forked one would share this one's database connection.
    context = get_context("spawn")
    with ProcessPoolExecutor(PROCESSES, context, initializer=django.setup) as pool:
        built = demo.build_stream(folder, days, PROCESSES, lambda *_: advance(), end)
        for site_folder, _ in built:
            for system in register(site_folder).systems.all():
                files = sorted((site_folder / system.code).iterdir())
                job = pool.submit(load_system, system.pk, files)
                job.add_done_callback(lambda _: advance())
                jobs.append(job)
        return [job.result() for job in as_completed(jobs)]


def load_system(system_id: int, files: list[Path]) -> Loaded:
    """Take in the uploads of one system and analyse all of it; runs in a process of its own."""
    system = System.objects.select_related("site").get(pk=system_id)
    uploads = []
    for file in files:
        upload, _ = receive(system, file.name, file.read_bytes())
        uploads.append(take_in(upload.pk))
    backlog.work_off(system_id)
    refused = [upload for upload in uploads if upload.state == UploadState.REFUSED]
    return Loaded(
        str(system),
        sum(upload.rows_accepted for upload in uploads),
        tuple(f"{upload}: {upload.reasons[:1]}" for upload in refused),
    )


@transaction.atomic
def admit_people() -> dict[str, str]:
    """The three people with new passwords, by user name."""
    passwords = {}
    for person in PEOPLE:
        user, _ = get_user_model().objects.get_or_create(username=person.username)
        user.first_name, user.last_name = person.first_name, person.last_name
        passwords[person.username] = secrets.token_urlsafe(9)
        user.set_password(passwords[person.username])
        user.save()
        membership, _ = Membership.objects.update_or_create(
            user=user, defaults={"role": person.role}
        )
        membership.clients.set(Client.objects.filter(code__in=person.clients))
    return passwords


@transaction.atomic
def give_work() -> None:
    """Assign the strongest open events to the technician, once, as the manager would."""
    usernames = [person.username for person in PEOPLE]
    manager, technician = (
        get_user_model().objects.get(membership__role=role, username__in=usernames)
        for role in (Role.MANAGER, Role.TECHNICIAN)
    )
    _say_where()
    _record_repairs(technician)
    if Event.objects.filter(assignee=technician, closed_at=None).exists():
        return
    active = Event.objects.filter(closed_at=None, withdrawn=False, assignee=None)
    strongest = active.order_by("-system__standing__score", "-peak_probability")
    planned = timezone.localdate() + timedelta(days=1)
    for event, note in zip(strongest[: len(NOTES)], NOTES, strict=False):
        arrange.send(event, arrange.Visit(technician, planned), manager.pk)
        event.notes.create(author=manager, text=note)


def _say_where() -> None:
    for site in Site.objects.filter(code__in=PLACES, region=""):
        site.region, site.latitude_deg, site.longitude_deg = PLACES[site.code]
        site.save(update_fields=("region", "latitude_deg", "longitude_deg"))


def _record_repairs(technician: User) -> None:
    """The visits of the scenario's repairs, where an event was found that they answer; once."""
    last = Standing.objects.aggregate(last=Max("at"))["last"]
    for code, day in demo.repairs(demo.latest_midnight(last)).items() if last else ():
        site, system = code.split("/")
        of_system = Event.objects.filter(system__site__code=site, system__code=system)
        answered = of_system.filter(withdrawn=False, opened_at__date__lte=day)
        event = answered.filter(Q(closed_at=None) | Q(closed_at__date__gte=day)).first()
        if event is None or SiteVisit.objects.filter(event__system=event.system).exists():
            continue
        rated_kg = event.system.rated_charge_kg
        SiteVisit.objects.create(
            event=event,
            visitor=technician,
            visited_on=day,
            outcome=VisitOutcome.CONFIRMED,
            readings={} if rated_kg is None else {"charged_kg": rated_kg},
            remark=REPAIRED,
        )
