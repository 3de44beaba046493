"""Requests to the pages with hostile words in every field and every part of the address."""

from __future__ import annotations

import random
import re
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any
from urllib.parse import quote, urlencode

from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import transaction
from django.http import HttpResponse
from django.test import Client as Browser

from tests.fuzz import hostile, uploads
from tests.fuzz.tally import WrongError
from tests.people import world as worlds
from tests.people.doors import DOORS, Door

LOOK_AT = (
    "/events/{event}/",
    "/sites/ferry-hall/",
    "/clients/kingfisher/",
    "/",
    "/rounds/",
    "/record/",
    "/people/",
    "/taught/",
    "/logs/",
    "/logs/{mapping}/",
    "/webhooks/",
    "/shared/{shared}/",
    "/settings/",
)
VALUES = (
    "\x00",
    "9" * 5_000,
    "-1",
    "0",
    "2147483648",
    "9" * 19,
    "1e400",
    "nan",
    "inf",
    "-inf",
    "1,5",
    "²",
    "١",
    "",
    "2026-02-30",
    "0000-00-00",
    "9999-12-31",
    "0001-01-01",
    "2026-01-05",
    "on",
    "a" * 20_000,
)
DANGEROUS = ("<script>alert(1)</script>", '"><img src=x onerror=alert(1)>', "<svg/onload=alert(1)>")
"""None of these may stand in a page as it is."""

UNDONE = (
    "sign-out",
    "settings/password",
    "people/<int:pk>/",
    "settings/second-factor",
    "share-links/<int:pk>/revoke",
    "invitations/<int:pk>/revoke",
)
"""What these do is taken back, or there would soon be nobody and nothing left to look at."""

FIELD = re.compile(r'<(?:input|select|textarea)\b[^>]*\bname="([^"]+)"')
ASKED = (
    "page",
    "q",
    "state",
    "first",
    "last",
    "what",
    "kind",
    "system",
    "stops",
    "reach",
    "region",
    "next",
    "view",
    "month",
    "from",
    "to",
    "sort",
    "cause",
    "client",
    "person",
    "since",
    "do",
    "lang",
)


@dataclass
class Pages:
    """Two organisations, and a manager who tries everything."""

    world: worlds.World = field(default_factory=worlds.build)

    @cached_property
    def browser(self) -> Browser:
        """Signed in."""
        browser = Browser(raise_request_exception=False, SERVER_NAME="localhost")
        browser.force_login(self.world.people["manager"])
        return browser

    @cached_property
    def fields(self) -> tuple[str, ...]:
        """Every name that a field on some page has, and what addresses are asked with."""
        found = set(ASKED)
        for path in LOOK_AT:
            answer = self.browser.get(path.format(**self.world.ids))
            found |= set(FIELD.findall(answer.content.decode()))
        return tuple(sorted(found - {"csrfmiddlewaretoken"}))

    def ask(self, rng: random.Random) -> str:
        """One request; the outcome is its status."""
        route = rng.choice(tuple(DOORS))
        door = DOORS[route]
        method = rng.choice(_methods(door)) if rng.random() < 0.97 else "POST"
        cookies = dict(self.browser.cookies)
        with transaction.atomic():
            answer = self._send(rng, route, door, method)
            if route in UNDONE or answer.status_code >= 400:
                transaction.set_rollback(True)
        self.browser.cookies.update(cookies)
        _check(answer, f"{method} {route}")
        if rng.random() < 0.2:
            path = rng.choice(LOOK_AT).format(**self.world.ids)
            _check(self.browser.get(path), f"GET {path} afterwards")
        return str(answer.status_code)

    def _send(self, rng: random.Random, route: str, door: Door, method: str) -> HttpResponse:
        path = door.path.format(**self.world.ids)
        if rng.random() < 0.15:
            path = _bent(rng, path)
        if rng.random() < 0.3:
            given = dict.fromkeys(self.fields, _value(rng))
        else:
            some = rng.sample(self.fields, rng.choice((1, 2, 4, 9, 40)))
            given = {name: _value(rng) for name in some}
        if method == "GET":
            text = urlencode(given)
            answered: HttpResponse = self.browser.get(f"{path.partition('?')[0]}?{text}")
            return answered
        data: dict[str, Any] = {k: str(v).format(**self.world.ids) for k, v in door.data.items()}
        for name in list(data):
            if rng.random() < 0.4:
                data[name] = _value(rng)
        data |= given
        if route == "logs/":
            name = rng.choice(
                ("a.csv", "../../a", "<script>alert(1)</script>", "a\x00b", "=1", "a" * 400)
            )
            data |= {
                "system": "ferry-hall/R1",
                "file": SimpleUploadedFile(name, uploads.body(rng)[: 1 << 20]),
            }
        headers = {"HX-Request": "true"} if rng.random() < 0.2 else {}
        return self.browser.post(path, data, headers=headers)


def _methods(door: Door) -> list[str]:
    return ["GET"] * (door.get is not None) + ["POST"] * (2 * (door.post is not None))


def _bent(rng: random.Random, path: str) -> str:
    parts = path.partition("?")[0].split("/")
    at = rng.randrange(1, len(parts))
    parts[at] = quote(_value(rng)[:2_000], safe="%")
    return "/".join(parts)


def _value(rng: random.Random) -> str:
    lists = (hostile.WORDS, VALUES, DANGEROUS, hostile.NUMBERS, hostile.TIMES)
    return rng.choice(lists[rng.randrange(len(lists))])


def _check(answer: Any, what: str) -> None:
    if answer.status_code >= 500:
        raise WrongError(f"{what}: {answer.status_code}")
    if answer.streaming or not answer["Content-Type"].startswith("text/html"):
        return
    if "Content-Security-Policy" not in answer.headers:
        raise WrongError(f"{what}: no Content-Security-Policy")
    text = answer.content.decode()
    for word in DANGEROUS:
        if word in text:
            raise WrongError(f"{what}: {word} stands in the page as it is")
