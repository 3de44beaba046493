"""How a client's buildings, or one of them, have been doing over months."""

from __future__ import annotations

from typing import Any

from django.db.models import QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_GET

from fleet import access
from fleet.models import Client, ShareLink, System
from fleet.pages import units
from fleet.pages.report import company
from fleet.pages.report.share import ShareForm
from fleet.pages.report.told import told

LINKS_SHOWN = 20


def _page(
    request: HttpRequest, systems: QuerySet[System], client: Client, more: dict[str, Any]
) -> HttpResponse:
    prefer = units.preference(request)
    context = {
        "base": "base.html",
        **told(request, systems, prefer),
        **company.letterhead(client),
        "client": client,
        "title": client.name,
        "role": access.role_of(request.user),
        "units": prefer,
        **more,
    }
    return render(request, "report/page.html", context)


@require_GET
def client(request: HttpRequest, code: str) -> HttpResponse:
    """A client the person looks after, or 404."""
    found = access.client_or_404(request.user, code)
    systems = access.visible_systems(request.user).filter(site__client=found)
    links = [
        (link, request.build_absolute_uri(reverse("shared", args=[link.token])))
        for link in ShareLink.objects.filter(client=found).select_related("made_by")[:LINKS_SHOWN]
    ]
    return _page(request, systems, found, {"links": links, "share_form": ShareForm()})


@require_GET
def building(request: HttpRequest, code: str) -> HttpResponse:
    """One building the person may see, or 404."""
    site = access.site_or_404(request.user, code)
    systems = access.visible_systems(request.user).filter(site=site)
    return _page(request, systems, site.client, {"title": site.name})
