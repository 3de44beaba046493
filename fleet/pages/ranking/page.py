"""The first page: where next, and why."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_GET

from fleet import access
from fleet.pages import units
from fleet.pages.ranking import narrow, ranked, since
from fleet.pages.ranking.briefs import Fleet
from fleet.pages.ranking.narrow import Narrow

SITES_A_PAGE = 30


def _ranks(fleet: Fleet, asked: Narrow) -> Sequence[int]:
    """Ranks of the sites that are asked for."""
    if not asked.any:
        return range(1, len(fleet) + 1)
    return [rank for rank, site in enumerate(fleet.all(), start=1) if asked.matches(site)]


@require_GET
def ranking(request: HttpRequest) -> HttpResponse:
    """Sites the person may see, highest first; the address narrows them."""
    now, asked, prefer = timezone.now(), Narrow.asked(request), units.preference(request)
    systems = access.visible_systems(request.user)
    fleet = Fleet(systems)
    page = Paginator(_ranks(fleet, asked), SITES_A_PAGE).get_page(request.GET.get("page"))
    first = fleet.first()
    shown = {*page.object_list, first} - {0}
    rows = ranked.of(fleet.rungs(sorted(shown)), systems, now, prefer)
    context: dict[str, Any] = {
        "role": access.role_of(request.user),
        "page": page,
        "rows": [row for row in rows if row.rung.rank in page.object_list],
        "first": next((row for row in rows if row.rung.rank == first), None),
        "counts": fleet.counts(),
        "total": len(fleet),
        "narrow": asked,
        "units": prefer,
    }
    if request.headers.get("HX-Request") == "true":
        return render(request, "ranking/_list.html", context)
    context["changes"] = since.load(systems, fleet, now)
    context["choices"] = narrow.choices(asked, fleet.occurring())
    context["technicians"] = access.technicians(request.user)
    return render(request, "ranking/page.html", context)
