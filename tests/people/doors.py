"""Every address of the web server, and who gets what there. A new address needs a line here.

``path`` is filled with `tests.people.world.World.ids`; it names things of the watched
organisation. ``see`` are those who get ``get`` or ``post``; everybody else who is signed in gets
404, and who is not is sent to sign in. A method that is None is answered with 405.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from fleet.pages.report import pdf
from tests.people.world import NOBODY, PEOPLE, TOKENS

ALL = " / ".join(PEOPLE)
EVERYBODY = " / ".join((*PEOPLE, *TOKENS, NOBODY))
MANAGERS = "manager / operator"
ACCOUNTS = "manager / operator / rep"
CREW = "manager / operator / technician"
INSIDERS = "manager / operator / rep / technician"
OUR_MANAGERS = "manager / operator / manager of another organisation"
UNREADABLE = b"no header we know\n1\n"
PDF = 503 if pdf.missing() else 200
"""Without Pango a page says what is missing."""


@dataclass(frozen=True)
class Door:
    """One address: who sees it, and what they get by GET and by POST with ``data``."""

    path: str
    see: str = INSIDERS
    get: int | None = 200
    post: int | None = None
    data: dict[str, Any] = field(default_factory=dict)
    exact: dict[str, tuple[int, int]] = field(default_factory=dict)

    def expected(self, who: str, method: str) -> int:
        """The status for ``who``."""
        if who in self.exact:
            return self.exact[who][method == "POST"]
        seen = who in self.see.split(" / ")
        if who not in PEOPLE and not seen:
            return 302
        status = self.get if method == "GET" else self.post
        if status is None:
            return 405
        return status if seen else 404


def page(path: str, see: str = INSIDERS) -> Door:
    """Something to read."""
    return Door(path, see)


def action(path: str, see: str, **data: Any) -> Door:
    """Something to do."""
    return Door(path, see, get=None, post=302, data=data)


def api(path: str, see: dict[str, tuple[int, int]], otherwise: tuple[int, int]) -> Door:
    """An address of the API: it sends nobody to sign in. Statuses by GET and POST."""
    return Door(path, exact={who: see.get(who, otherwise) for who in EVERYBODY.split(" / ")})


DOORS: dict[str, Door] = {
    "": page("/", ALL),
    "sites/<slug:code>/": page("/sites/ferry-hall/"),
    "sites/<slug:code>/place": Door(
        "/sites/ferry-hall/place", get=None, post=302, data={"region": "North"}
    ),
    "sites/<slug:code>/months/": page("/sites/ferry-hall/months/"),
    "sites/<slug:code>/months/report.pdf": Door("/sites/ferry-hall/months/report.pdf", get=PDF),
    "sites/<slug:code>/<str:system>/charge/": page("/sites/ferry-hall/R1/charge/"),
    "clients/": page("/clients/", ALL),
    # The other organisation has a client of the same code, and sees its own.
    "clients/<slug:code>/": page(
        "/clients/kingfisher/",
        f"{ACCOUNTS} / manager of another organisation / rep of another organisation",
    ),
    "clients/<slug:code>/report.pdf": Door(
        "/clients/kingfisher/report.pdf",
        f"{ACCOUNTS} / manager of another organisation / rep of another organisation",
        get=PDF,
    ),
    "clients/<slug:code>/share": action(
        "/clients/kingfisher/share",
        f"{ACCOUNTS} / manager of another organisation / rep of another organisation",
        reader="the owner",
        days="7",
    ),
    "share-links/<int:pk>/revoke": action("/share-links/{link}/revoke", ACCOUNTS),
    "shared/<str:token>/": page("/shared/{shared}/", EVERYBODY),
    "shared/<str:token>/report.pdf": Door("/shared/{shared}/report.pdf", EVERYBODY, get=PDF),
    "logs/": Door("/logs/", OUR_MANAGERS, get=200, post=200),
    "logs/<int:pk>/": page("/logs/{mapping}/", MANAGERS),
    "logs/<int:pk>/change": action("/logs/{mapping}/change", MANAGERS, do="remove"),
    "sites/<slug:code>/<str:system>/data": page(
        "/sites/ferry-hall/R1/data?first=2026-03-01&last=2026-03-02&what=windows&kind=csv"
    ),
    "logs/systems": page("/logs/systems?system=r", OUR_MANAGERS),
    "events/<int:pk>/": page("/events/{event}/"),
    "events/<int:pk>/series.json": page("/events/{event}/series.json"),
    "events/<int:pk>/acknowledge": action("/events/{event}/acknowledge", CREW),
    "events/<int:pk>/assign": action("/events/{event}/assign", MANAGERS, assignee=""),
    "events/<int:pk>/shelve": action("/events/{event}/shelve", CREW, days="3", reason="x"),
    "events/<int:pk>/unshelve": action("/events/{event}/unshelve", CREW),
    "events/<int:pk>/note": action("/events/{event}/note", INSIDERS, text="seen"),
    "events/<int:pk>/visit": action("/events/{event}/visit", CREW, outcome="confirmed"),
    # It works on what is ticked and may be seen, and says so when that is nothing.
    "events/together": action("/events/together", ALL, event="{event}", do="shelve", days="3"),
    "rounds/": page("/rounds/", ALL),
    "taught/": page("/taught/", OUR_MANAGERS),
    "taught/<int:pk>/count": action("/taught/{visit}/count", MANAGERS, reason="a slip"),
    "company-logo": Door("/company-logo", EVERYBODY, get=404),
    "units": action("/units", ALL, temperature="degF"),
    "sign-in": Door("/sign-in", EVERYBODY, get=200, post=200),
    "sign-out": action("/sign-out", ALL),
    "offline-worker.js": page("/offline-worker.js", EVERYBODY),
    "offline": page("/offline", EVERYBODY),
    "healthz": Door("/healthz", EVERYBODY, get=200, post=200),
    # Nobody has given a password a moment ago.
    "sign-in/code": Door("/sign-in/code", EVERYBODY, get=302, post=302),
    "password/forgotten": Door(
        "/password/forgotten", EVERYBODY, get=200, post=302, data={"email": "a@example.org"}
    ),
    "password/sent": page("/password/sent", EVERYBODY),
    "password/new/<str:uidb64>/<str:token>/": Door(
        "/password/new/MQ/x-y/", EVERYBODY, get=200, post=200
    ),
    "invitation/<str:token>/": Door("/invitation/{invited}/", EVERYBODY, get=200, post=200),
    "settings/": Door("/settings/", ALL, get=200, post=200, data={"digest": "hourly"}),
    "settings/password": Door("/settings/password", ALL, get=200, post=302),
    "settings/second-factor": Door(
        "/settings/second-factor", ALL, get=200, post=302, data={"do": "remove", "password": "x"}
    ),
    "people/": page("/people/", OUR_MANAGERS),
    "people/invite": action("/people/invite", OUR_MANAGERS, email="no address"),
    "people/<int:pk>/": Door(
        "/people/{person}/", MANAGERS, get=200, post=302, data={"do": "close"}
    ),
    "invitations/<int:pk>/revoke": action("/invitations/{invitation}/revoke", MANAGERS),
    "record/": page("/record/", OUR_MANAGERS),
    "webhooks/": Door("/webhooks/", OUR_MANAGERS, get=200, post=200, data={"address": "ftp://x"}),
    "webhooks/<int:pk>/change": action("/webhooks/{webhook}/change", MANAGERS, do="remove"),
    "notices/stop/<str:token>/": Door("/notices/stop/{stop}/", EVERYBODY, get=200, post=200),
    # For staff; it speaks of no client.
    "runbook/": Door("/runbook/", "operator", get=200, post=200),
    "runbook/<slug:name>/": Door("/runbook/broker-down/", "operator", get=200, post=200),
    "api/v1/problems/<slug:slug>": Door("/api/v1/problems/not-found", EVERYBODY, get=200, post=200),
    "api/v1/openapi.json": Door("/api/v1/openapi.json", EVERYBODY, get=200, post=200),
    "api/v1/sites/<slug:site>/systems/<slug:system>/uploads": api(
        "/api/v1/sites/ferry-hall/systems/R1/uploads",
        {"token": (405, 202), "token of another organisation": (405, 404)},
        (405, 401),
    ),
    "api/v1/uploads/<uuidstr:upload_id>": api(
        "/api/v1/uploads/{upload}",
        {
            **dict.fromkeys(("manager", "operator", "rep", "technician", "token"), (200, 405)),
            **dict.fromkeys(("revoked token", NOBODY), (401, 405)),
        },
        (404, 405),
    ),
    "api/v1/ranking": api(
        "/api/v1/ranking", dict.fromkeys(("revoked token", NOBODY), (401, 405)), (200, 405)
    ),
    "api/v1/": Door("/api/v1/", EVERYBODY, get=404, post=404),
    "^api/": Door("/api/no-such-thing", EVERYBODY, get=404, post=404),
    "readyz": Door("/readyz", EVERYBODY, get=200, post=200),
    "metrics": Door("/metrics", EVERYBODY, get=200, post=200),
}
