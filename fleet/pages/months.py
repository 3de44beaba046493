"""How a client's buildings, or one of them, have been doing over months."""

from __future__ import annotations

from typing import Any

from django.core.paginator import Paginator
from django.db.models import Count, Exists, OuterRef, Q, QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import ngettext
from django.views.decorators.http import require_GET

from fleet import access, asked
from fleet.models import Client, PooledDay, ShareLink, System
from fleet.pages import company, pdf, report, standings, units
from fleet.pages.forms import ShareForm
from fleet.pages.report import MONTHS, Parts, Period
from fleet.pages.units import Preference

USUAL_MONTHS = 3
LINKS_SHOWN = 20


def _months(request: HttpRequest) -> int:
    """The number of months asked for, or the usual one."""
    months = asked.whole(request.GET.get("months", ""))
    return months if months is not None and months in MONTHS else USUAL_MONTHS


def told(request: HttpRequest, systems: QuerySet[System], prefer: Preference) -> dict[str, Any]:
    """The report over the months asked for, page by page; ``all=1`` asks for the whole of it."""
    now, months = timezone.now(), _months(request)
    found = report.parts(systems)
    whole = request.GET.get("all") == "1" or len(found.pages) < 2
    page = Paginator(found.pages, 1).get_page(request.GET.get("page"))
    shown = systems if whole else systems.filter(site__in=page.object_list[0])
    return {
        "report": report.gather(shown, Period.before(now, months), prefer),
        "page": None if whole else page,
        "sites": sum(len(sites) for sites in found.pages),
        "all_of_it": "" if whole else _all_of_it(found),
        "months": months,
        "choices": MONTHS,
        "now": now,
        "pdf": not pdf.missing(),
    }


def _all_of_it(of: Parts) -> str:
    """The whole in one line, where a page shows a part."""
    said = ngettext("%(n)s system in all", "%(n)s systems in all", of.systems) % {"n": of.systems}
    still = ngettext("%(n)s suspicion open today", "%(n)s suspicions open today", of.lasting)
    return f"{said}, {still % {'n': of.lasting}}."


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
def clients(request: HttpRequest) -> HttpResponse:
    """The clients the person looks after, with their buildings."""
    then, of = timezone.now() - standings.FOUR_WEEKS, "sites__systems__events"
    stays = Q(**{f"{of}__closed_at": None})
    real = Q(**{f"{of}__withdrawn": False})
    lasted = Q(**{f"{of}__opened_at__lte": then}) & (stays | Q(**{f"{of}__closed_at__gt": then}))
    days = PooledDay.objects.filter(system__site__client=OuterRef("pk"), day__lte=then.date())
    found = access.visible_clients(request.user).prefetch_related("sites")
    counted = found.annotate(
        systems=Count("sites__systems", distinct=True),
        lasting=Count(of, filter=stays & real, distinct=True),
        lasted=Count(of, filter=lasted & real, distinct=True),
        known_then=Exists(days),
    )
    context = {"clients": counted.order_by("name"), "role": access.role_of(request.user)}
    return render(request, "clients/page.html", context)


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
