"""Every address with every role and with people of another organisation; none is forgotten."""

from __future__ import annotations

import sys
from collections import Counter
from collections.abc import Iterator
from typing import Any

import pytest
from django.core.serializers import serialize
from django.db import transaction
from django.http import HttpResponse
from django.test import Client as Browser
from django.urls import URLPattern, URLResolver, get_resolver

from fleet.models import (
    Event,
    EventNote,
    Invitation,
    LogMapping,
    Membership,
    PersonSettings,
    ShareLink,
    Site,
    SiteVisit,
    Webhook,
)
from tests.pages.scene import CANARY
from tests.people.doors import DOORS, Door
from tests.people.world import NOBODY, OUTSIDERS, PEOPLE, TOKENS, World

EVERYBODY = (*PEOPLE, *TOKENS, NOBODY)
WATCHED = (
    Event,
    EventNote,
    Invitation,
    LogMapping,
    Membership,
    ShareLink,
    Site,
    SiteVisit,
    Webhook,
)


def routes(within: URLResolver | None = None, before: str = "") -> Iterator[str]:
    """Every route there is, as it is written."""
    for pattern in (within or get_resolver()).url_patterns:
        route = before + str(pattern.pattern)
        if isinstance(pattern, URLPattern):
            yield route
        else:
            yield from routes(pattern, route)


def browser(world: World, who: str) -> Browser:
    if who in TOKENS:
        bearer = {"Authorization": f"Bearer {world.tokens[who]}"}
        return Browser(headers=bearer, raise_request_exception=False)
    made = Browser(raise_request_exception=False)
    if who in PEOPLE:
        made.force_login(world.people[who])
    return made


def ask(world: World, asking: Browser, door: Door, method: str) -> HttpResponse:
    """One request; the rest of the world stays as it was."""
    path = door.path.format(**world.ids)
    data = {key: str(value).format(**world.ids) for key, value in door.data.items()}
    if path.endswith("/uploads"):
        return asking.generic(method, path, b"time,x\n", "text/csv")
    if method == "GET":
        return asking.get(path)
    return asking.post(path, data)


def body(answer: Any) -> str:
    parts = answer.streaming_content if answer.streaming else [answer.content]
    return b"".join(parts).decode(errors="replace")


def test_no_address_is_forgotten() -> None:
    known = {route for route in routes() if not route.startswith("admin/")}
    assert known == set(DOORS), "give every address a line in tests/people/doors.py"


@pytest.mark.parametrize("who", EVERYBODY)
def test_everybody_gets_what_is_theirs(world: World, who: str) -> None:
    asking, wrong, counts = browser(world, who), [], Counter[int]()
    for route, door in DOORS.items():
        for method in ("GET", "POST"):
            with transaction.atomic():
                # What one request changes must not show in the next, nor end the session.
                session = dict(asking.cookies)
                answer = ask(world, asking, door, method)
                transaction.set_rollback(True)
            asking.cookies.update(session)
            body(answer)
            counts[answer.status_code] += 1
            if answer.status_code != door.expected(who, method):
                wrong.append(f"{method} {route}: {answer.status_code}")
    said = f"{who}: {sum(counts.values())} requests, {dict(sorted(counts.items()))}\n"
    sys.stdout.write(said)
    assert not wrong, f"{who}: {wrong}"
    assert sum(counts.values()) == 2 * len(DOORS)


HIDDEN_FROM = (*OUTSIDERS, "rep of another client", "technician without work", *TOKENS[1:], NOBODY)
OPEN_BY_ITSELF = (
    "shared/<str:token>/",
    "shared/<str:token>/report.pdf",
    "invitation/<str:token>/",
)
"""Whoever has the address of these sees them: the address is the key."""


@pytest.mark.parametrize("who", HIDDEN_FROM)
def test_no_answer_to_an_outsider_holds_anything_of_it(world: World, who: str) -> None:
    asking = browser(world, who)
    asked, leaks = 0, []
    for route, door in DOORS.items():
        if route in OPEN_BY_ITSELF:
            continue
        answer = asking.get(door.path.format(**world.ids), follow=True)
        asked += 1
        said = body(answer)
        if CANARY in said or f"{CANARY.lower()}.example" in said:
            leaks.append(route)
    assert asked == len(DOORS) - len(OPEN_BY_ITSELF)
    # Within the organisation people know each other by name.
    allowed = set() if who in (*OUTSIDERS, *TOKENS, NOBODY) else {"people/"}
    assert set(leaks) <= allowed, f"{who} reads of it at {leaks}"


def test_an_insider_does_read_of_it(world: World) -> None:
    """The test above means something only if the word is there to be found."""
    asking, found = browser(world, "manager"), 0
    for door in DOORS.values():
        found += CANARY in body(asking.get(door.path.format(**world.ids)))
    assert found >= 12


@pytest.mark.parametrize("who", [*OUTSIDERS, NOBODY])
def test_nothing_an_outsider_sends_changes_anything(world: World, who: str) -> None:
    asking = browser(world, who)
    before = snapshot(world)
    for route, door in DOORS.items():
        if route not in (*OPEN_BY_ITSELF, "sign-out", "notices/stop/<str:token>/"):
            ask(world, asking, door, "POST")
    assert snapshot(world) == before


def snapshot(world: World) -> dict[str, str]:
    """Everything of the watched organisation that people can change."""
    theirs = {
        Event: Event.objects.exclude(system__site__code="high-weir"),
        EventNote: EventNote.objects.exclude(event__system__site__code="high-weir"),
        SiteVisit: SiteVisit.objects.exclude(event__system__site__code="high-weir"),
        Site: Site.objects.exclude(code="high-weir"),
        Membership: Membership.objects.exclude(organisation__code="second"),
        ShareLink: ShareLink.objects.exclude(client__organisation__code="second"),
        PersonSettings: PersonSettings.objects.exclude(
            user__membership__organisation__code="second"
        ).exclude(user=world.people["operator"]),
    }
    rows = {model: theirs.get(model, model.objects.all()) for model in (*WATCHED, PersonSettings)}
    return {
        model.__name__: serialize("json", found.order_by("pk")) for model, found in rows.items()
    }


SAMPLES = {
    "<path:object_id>": "1",
    "<path:content_type_id>": "1",
    "<int:content_type_id>": "1",
    "<id>": "1",
    "<app_label>": "fleet",
    "(?P<app_label>auth|fleet|otp_static|otp_totp)": "fleet",
    "(?P<url>.*)$": "nonsense",
    "^": "",
    "$": "",
}


def administration() -> list[str]:
    paths = []
    for route in routes():
        if route.startswith("admin/"):
            for part, value in SAMPLES.items():
                route = route.replace(part, value)
            paths.append(f"/{route}")
    return paths


@pytest.mark.parametrize("who", [who for who in EVERYBODY if who != "operator"])
def test_the_administration_is_closed_to_everybody_but_operators(world: World, who: str) -> None:
    asking, paths = browser(world, who), administration()
    assert len(paths) > 60
    for path in paths:
        answer = asking.get(path)
        if path == "/admin/logout/":
            assert answer.status_code in (302, 405)
            continue
        assert answer.status_code == 302, f"{who} gets {answer.status_code} at {path}"
        assert answer["Location"].startswith(("/sign-in", "/admin/login")), path


def test_a_form_without_its_token_is_refused(world: World) -> None:
    """Of everything that can be done by POST, only these do without: they carry their own proof."""
    asking = Browser(enforce_csrf_checks=True)
    asking.force_login(world.people["manager"])
    without = set()
    for route, door in DOORS.items():
        if door.post is not None and not route.startswith(("api/", "^api")):
            answer = ask(world, asking, door, "POST")
            if answer.status_code != 403:
                without.add(route)
    assert without == {"notices/stop/<str:token>/", "readyz", "metrics"}
