"""How a client's buildings, or one of them, have been doing over months."""

from __future__ import annotations

from django.db.models import Count, Q, QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_GET

from fleet import access
from fleet.models import Client, System
from fleet.pages import report, units
from fleet.pages.report import MONTHS, Period

USUAL_MONTHS = 3


def chosen_months(request: HttpRequest) -> int:
    """The number of months asked for, or the usual one."""
    asked = request.GET.get("months", "")
    return int(asked) if asked.isdecimal() and int(asked) in MONTHS else USUAL_MONTHS


def _page(
    request: HttpRequest, systems: QuerySet[System], client: Client, title: str
) -> HttpResponse:
    now, months, prefer = timezone.now(), chosen_months(request), units.preference(request)
    context = {
        "base": "base.html",
        "report": report.gather(systems, Period.before(now, months), prefer),
        "client": client,
        "title": title,
        "months": months,
        "choices": MONTHS,
        "now": now,
        "role": access.role_of(request.user),
        "units": prefer,
    }
    return render(request, "report/page.html", context)


@require_GET
def clients(request: HttpRequest) -> HttpResponse:
    """The clients the person looks after, with their buildings."""
    lasting = Q(sites__systems__events__closed_at=None) & Q(sites__systems__events__withdrawn=False)
    found = access.visible_clients(request.user).prefetch_related("sites")
    counted = found.annotate(
        systems=Count("sites__systems", distinct=True),
        lasting=Count("sites__systems__events", filter=lasting, distinct=True),
    )
    context = {"clients": counted.order_by("name"), "role": access.role_of(request.user)}
    return render(request, "clients/page.html", context)


@require_GET
def client(request: HttpRequest, code: str) -> HttpResponse:
    """A client the person looks after, or 404."""
    found = access.client_or_404(request.user, code)
    systems = access.visible_systems(request.user).filter(site__client=found)
    return _page(request, systems, found, found.name)


@require_GET
def building(request: HttpRequest, code: str) -> HttpResponse:
    """One building the person may see, or 404."""
    site = access.site_or_404(request.user, code)
    systems = access.visible_systems(request.user).filter(site=site)
    return _page(request, systems, site.client, site.name)
