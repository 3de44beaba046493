"""Every address that answers GET, filled in for a fleet, with the session of who asks for it."""

from __future__ import annotations

from dataclasses import dataclass

from django.conf import settings
from django.contrib.auth import get_user_model
from django.test import Client as Browser

from fixtures import demo
from fleet.models import Event, System
from tests.pages import many, scene
from tests.pages.scene import Scene
from tests.people import world as worlds
from tests.people.doors import DOORS
from tests.people.world import World

DOCUMENTS = (".pdf", "/data?", "series.json", "/api/", "/metrics", "/readyz", "/healthz")
"""Written out, drawn from samples or asked for by programs: shown, but not held to the limit."""
MORE = {
    "/ narrowed": "/?q={word}&region={region}",
    "/ the last page": "/?page=99",
    "client, a year": "/clients/kingfisher/?months=12",
    "charge, more than can be typed": "/sites/ferry-hall/R1/charge/?limit=1",
}


@dataclass(frozen=True)
class Asked:
    """One address, and the cookie of a manager, of an operator, or of nobody."""

    name: str
    path: str
    cookie: str

    @property
    def is_page(self) -> bool:
        """Whether a person waits for it to read it."""
        return not any(part in self.path for part in DOCUMENTS)


def of_demo() -> list[Asked]:
    """The demo as its command leaves it; its worst system is looked at."""
    event = Event.objects.filter(closed_at=None, withdrawn=False).order_by(
        "-system__standing__score"
    )[0]
    assert event.system.site.code in {code.split("/")[0] for code in demo.truth()}
    people = get_user_model().objects
    return _asked(event, people.get(username="manager"), people.get(username="technician"))


def of_many(sites: int) -> list[Asked]:
    """So many sites with two systems each."""
    fleet = many.build(sites)
    return _asked(fleet.event, fleet.manager, fleet.technician)


def _asked(event: Event, manager: scene.User, technician: scene.User) -> list[Asked]:
    site = event.system.site
    looked_at = Scene(
        *(site.client, site, event.system, event, site, event),
        *(manager, technician, manager, manager),
    )
    ids = worlds.belongings(World(looked_at, {}, {}))
    operator = get_user_model().objects.create_superuser("operator", password=None)
    cookies = {"manager": _cookie(manager), "operator": _cookie(operator), "nobody": ""}
    ids |= {"word": site.name.split()[0], "region": site.region.replace(" ", "+")}
    found = [
        Asked(route or "/", _own(door.path, event).format(**ids), cookies[who])
        for route, door in DOORS.items()
        for who in cookies
        if door.expected(who, "GET") == 200 and who == _first(route)
    ]
    more = [
        Asked(name, _own(path, event).format(**ids), cookies["manager"])
        for name, path in MORE.items()
    ]
    return found + more


def _first(route: str) -> str:
    """Who asks: the manager where the manager may."""
    door = DOORS[route]
    asking = ("nobody",) if route.startswith("shared/") else ("manager", "operator", "nobody")
    return next((who for who in asking if door.expected(who, "GET") == 200), "")


def _own(path: str, event: Event) -> str:
    system: System = event.system
    return (
        path.replace("kingfisher", system.site.client.code)
        .replace("ferry-hall", system.site.code)
        .replace("/R1/", f"/{system.code}/")
    )


def _cookie(user: scene.User) -> str:
    browser = Browser()
    browser.force_login(user)
    return f"{settings.SESSION_COOKIE_NAME}={browser.cookies[settings.SESSION_COOKIE_NAME].value}"
