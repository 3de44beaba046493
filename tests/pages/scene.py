"""A small fleet as rows: two clients, two sites, an open event, and the people who read of it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any

from django.contrib.auth import get_user_model
from django.contrib.auth.models import User
from django.test import Client as Browser
from django.utils import timezone

from diagnostics.weighing.weigh import CONDITIONS
from fleet.models import (
    Client,
    Event,
    IndoorUnit,
    Membership,
    Role,
    Site,
    Standing,
    System,
)

CANARY = "Kingfisher"
"""Part of every name of the watched client: an outsider's answer must never hold it."""

ENTRY: dict[str, Any] = {
    "finding": "upstream_subcooling",
    "title": "Upstream subcooling in cooling",
    "unit": "K",
    "measured": 12.4,
    "expected": 5.0,
    "uncertainty": 0.8,
    "hours": 41.0,
    "push": {"normal": 0.0, "overcharge": 2.3, "undercharge": -1.5},
    "towards": "overcharge",
    "weight": 2.3,
    "text": "speaks strongly for too much refrigerant",
    "source": "common practice, no source",
    "settle": "measure it with calibrated instruments",
}


def probabilities(leading: str, share: float) -> dict[str, float]:
    """A verdict's conditions with ``leading`` at ``share`` and the rest equal."""
    rest = (1.0 - share) / (len(CONDITIONS) - 1)
    return {name: share if name == leading else rest for name in CONDITIONS}


def verdict(leading: str, share: float) -> dict[str, Any]:
    """A stored verdict with two lines in its ledger, one of them not to be told."""
    silent = ENTRY | {"finding": "x", "title": "Standstill pressures", "measured": None}
    silent |= {"expected": None, "uncertainty": None, "push": {}, "weight": 0.0}
    return {
        "conditions": probabilities(leading, share),
        "leading": leading,
        "urgent": False,
        "ledger": [silent, ENTRY],
        "settle": ["To tell both apart: weigh."],
    }


@dataclass
class Scene:
    """What a web test needs to look at."""

    client: Client
    site: Site
    system: System
    event: Event
    other_site: Site
    other_event: Event
    manager: User
    technician: User
    rep: User
    outsider: User


def person(name: str, role: Role, *clients: Client) -> User:
    """Somebody who can sign in with the password ``open sesame 42``."""
    user: User = get_user_model().objects.create_user(name, password="open sesame 42")
    Membership.objects.create(user=user, role=role).clients.set(clients)
    return user


def signed_in(user: User) -> Browser:
    """A browser with the person signed in."""
    browser = Browser()
    browser.force_login(user)
    return browser


def system(site: Site, code: str = "R1") -> System:
    """A system with two indoor units."""
    made = System.objects.create(
        site=site,
        code=code,
        refrigerant="R-32",
        cooling_capacity_w=45_000.0,
        compressor_displacement_m3=82e-6,
        compressor_max_speed_rps=110.0,
        subcooler_valve_full_pulses=480.0,
        rated_charge_kg=18.5,
    )
    for slot, room in enumerate((f"{CANARY} hall", "Office")):
        IndoorUnit.objects.create(
            system=made, slot=slot, code=f"A-{slot}", cooling_capacity_w=5_600.0, room=room
        )
    return made


def stand(of: System, leading: str, share: float, score: float, **more: Any) -> Standing:
    """A standing as analysis leaves it."""
    now = timezone.now()
    stored = verdict(leading, share)
    return Standing.objects.create(
        **{
            "system": of,
            "at": now,
            "last_sample": now - timedelta(minutes=20),
            "score": score,
            "leading": leading,
            "coverage": 0.93,
            "conditions": [stored["conditions"][name] for name in CONDITIONS],
            "why": f"Suspicion because subcooling is 12.4 K, expected 5.0 K ({of.site.name}).",
            "verdict": stored,
            **more,
        }
    )


def open_event(of: System, condition: str = "overcharge") -> Event:
    """An event that is still there."""
    return Event.objects.create(
        system=of,
        condition=condition,
        opened_at=datetime(2026, 3, 1, 6, tzinfo=UTC),
        last_window=datetime(2026, 3, 4, 23, 45, tzinfo=UTC),
        peak_probability=0.86,
        peak_at=datetime(2026, 3, 3, 14, tzinfo=UTC),
        verdict=verdict(condition, 0.86),
        why="Suspicion of too much refrigerant: upstream subcooling 12.4 K, expected 5.0 K.",
    )


def build() -> Scene:
    """The whole scene."""
    client = Client.objects.create(code="kingfisher", name=f"{CANARY} Estates")
    other = Client.objects.create(code="plover", name="Plover Trust")
    site = Site.objects.create(
        client=client, code="ferry-hall", name=f"{CANARY} Ferry Hall", timezone="Europe/Lisbon"
    )
    other_site = Site.objects.create(
        client=other, code="mill-lane", name="Mill Lane", timezone="America/St_Johns"
    )
    first, second = system(site), system(other_site)
    stand(first, "overcharge", 0.86, 78.4)
    stand(second, "normal", 0.97, 2.0)
    event, other_event = open_event(first), open_event(second, "undercharge")
    technician = person("tess", Role.TECHNICIAN)
    Event.objects.filter(pk=event.pk).update(assignee=technician)
    event.refresh_from_db()
    return Scene(
        client,
        site,
        first,
        event,
        other_site,
        other_event,
        person("mara", Role.MANAGER),
        technician,
        person("rhea", Role.ACCOUNT_REP, client),
        person("otto", Role.ACCOUNT_REP, other),
    )
