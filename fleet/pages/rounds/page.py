"""A day's round: buildings near each other that ask for a visit, on a plain map and in a list."""

from __future__ import annotations

from dataclasses import dataclass

from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_GET

from fleet import access, asked
from fleet.pages import words
from fleet.pages.ranking import narrow
from fleet.pages.ranking.briefs import Fleet, Occurring, SiteBrief
from fleet.pages.ranking.narrow import Narrow
from fleet.pages.rounds import nearby
from fleet.pages.rounds.nearby import Limits, Map, Round

ROUNDS_A_PAGE = 8
STOPS = (3, 4, 5, 6, 8)
REACH_KM = (5, 10, 30, 60, 120)
WAITING = ("untaken", "seen", "sent")
"""What still wants a day."""


@dataclass(frozen=True)
class Line:
    """One open event at a stop."""

    pk: int
    code: str
    suspicion: words.Suspicion


@dataclass(frozen=True)
class Drawn:
    """A round with its map."""

    round: Round
    map: Map | None

    @property
    def stops(self) -> list[tuple[nearby.Stop, list[Line]]]:
        """The stops with the events to see to."""
        return [(stop, _lines(stop.site)) for stop in self.round.stops]


def _lines(site: SiteBrief) -> list[Line]:
    return [
        Line(event.pk, system.code, words.suspicion(event.condition))
        for system in site.systems
        for event in system.events
        if event.handled in WAITING
    ]


def _limits(request: HttpRequest) -> Limits:
    """How much fits into a day, as asked for or as usual."""
    stops = asked.whole(request.GET.get("stops", ""))
    reach = asked.whole(request.GET.get("reach", ""))
    usual = Limits()
    return Limits(
        stops if stops is not None and stops in STOPS else usual.stops,
        float(reach) if reach is not None and reach in REACH_KM else usual.reach_km,
    )


@require_GET
def rounds(request: HttpRequest) -> HttpResponse:
    """Rounds of the buildings that ask for a visit no day is set for; the address narrows them."""
    asked, limits, role = Narrow.asked(request), _limits(request), access.role_of(request.user)
    sites = Fleet(access.visible_systems(request.user)).all()
    waiting = [site for site in sites if site.attention is words.ACT and _lines(site)]
    occurring = Occurring.among(waiting)
    found = nearby.rounds([site for site in waiting if asked.matches(site)], limits)
    page = Paginator(found, ROUNDS_A_PAGE).get_page(request.GET.get("page"))
    context = {
        "rounds": [Drawn(it, nearby.drawn(it)) for it in page],
        "page": page,
        "waiting": len(waiting),
        "planned": sum("planned" in site.handled for site in sites),
        "unplaced": sum(site.site.latitude_deg is None for site in waiting),
        "limits": limits,
        "stops": STOPS,
        "reach": REACH_KM,
        "narrow": asked,
        "choices": [it for it in narrow.choices(asked, occurring) if it.name != "state"],
        "technicians": access.technicians(request.user),
        "role": role,
    }
    return render(request, "rounds/page.html", context)
