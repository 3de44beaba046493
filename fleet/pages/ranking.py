"""The first page: where next, and why."""

from __future__ import annotations

from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_GET

from fleet import access
from fleet.pages import standings, units
from fleet.pages.standings import SiteLine

SITES_A_PAGE = 50


def _matches(line: SiteLine, query: str, show: str) -> bool:
    if show and line.attention.code != show:
        return False
    texts = [line.site.name, line.site.code, line.site.client.name]
    texts += [system.system.code for system in line.systems]
    texts += [system.suspicion.name for system in line.systems]
    return all(any(word in text.lower() for text in texts) for word in query.lower().split())


@require_GET
def ranking(request: HttpRequest) -> HttpResponse:
    """Sites the person may see, highest first; ``q`` searches, ``show`` narrows to one kind."""
    now = timezone.now()
    query, show = request.GET.get("q", "").strip(), request.GET.get("show", "")
    sites = standings.site_lines(standings.system_lines(access.visible_systems(request.user), now))
    found = [line for line in sites if _matches(line, query, show)]
    context = {
        "role": access.role_of(request.user),
        "page": Paginator(found, SITES_A_PAGE).get_page(request.GET.get("page")),
        "first": sites[0] if sites and sites[0].lead.attention.code == "act" else None,
        "counts": standings.counts(sites),
        "total": len(sites),
        "query": query,
        "show": show,
        "now": now,
        "units": units.preference(request),
    }
    fragment = request.headers.get("HX-Request") == "true"
    return render(request, "ranking/_list.html" if fragment else "ranking/page.html", context)
