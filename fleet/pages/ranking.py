"""The first page: where next, and why."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from typing import Any

from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_GET

from fleet import access
from fleet.pages import briefs, narrow, ranked, since, units, words
from fleet.pages.briefs import SiteBrief
from fleet.pages.narrow import Narrow

SITES_A_PAGE = 30


def _counts(sites: Sequence[SiteBrief]) -> list[tuple[words.Attention, int]]:
    """How many sites ask for what."""
    counted = Counter(site.attention.code for site in sites)
    return [(kind, counted[kind.code]) for kind in words.ATTENTIONS]


def _first(sites: Sequence[SiteBrief]) -> int:
    """Place of the first site that asks for a visit nobody has put off; -1 without one."""
    for i, site in enumerate(sites):
        event = site.lead.event
        if site.lead.attention is words.ACT and not (event and event.handled == "shelved"):
            return i
    return -1


@require_GET
def ranking(request: HttpRequest) -> HttpResponse:
    """Sites the person may see, highest first; the address narrows them."""
    now, asked, prefer = timezone.now(), Narrow.asked(request), units.preference(request)
    systems = access.visible_systems(request.user)
    sites = briefs.load(systems)
    found = [(rank, site) for rank, site in enumerate(sites, start=1) if asked.matches(site)]
    page = Paginator(found, SITES_A_PAGE).get_page(request.GET.get("page"))
    place = _first(sites)
    first = [(place + 1, sites[place])] if place >= 0 else []
    rows = ranked.of(list({*first, *page.object_list}), systems, now, prefer)
    context: dict[str, Any] = {
        "role": access.role_of(request.user),
        "page": page,
        "rows": [row for row in rows if (row.rank, row.brief) in page.object_list],
        "first": next((row for row in rows if row.rank == place + 1), None),
        "counts": _counts(sites),
        "total": len(sites),
        "narrow": asked,
        "units": prefer,
    }
    if request.headers.get("HX-Request") == "true":
        return render(request, "ranking/_list.html", context)
    context["changes"] = since.load(systems, sites, now)
    context["choices"] = narrow.choices(asked, sites)
    context["technicians"] = access.technicians(request.user)
    return render(request, "ranking/page.html", context)
