"""The report as a PDF to hand out: what a client may read, whoever asks for it."""

from __future__ import annotations

import logging
from typing import Any

from django.contrib.auth.decorators import login_not_required
from django.db.models import QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.template.loader import render_to_string
from django.views.decorators.http import require_GET

from fleet import access
from fleet.models import Client, System
from fleet.pages import units
from fleet.pages.report import company, pdf, share
from fleet.pages.report.told import told
from fleet.pages.units import Preference

log = logging.getLogger(__name__)


@require_GET
def client(request: HttpRequest, code: str) -> HttpResponse:
    """A client the person looks after, or 404."""
    found = access.client_or_404(request.user, code)
    systems = access.visible_systems(request.user).filter(site__client=found)
    return _answer(request, _context(request, found, systems, units.preference(request)))


@require_GET
def building(request: HttpRequest, code: str) -> HttpResponse:
    """One building the person may see, or 404."""
    site = access.site_or_404(request.user, code)
    systems = access.visible_systems(request.user).filter(site=site)
    context = _context(request, site.client, systems, units.preference(request))
    return _answer(request, {**context, "title": site.name})


@login_not_required
@require_GET
def shared(request: HttpRequest, token: str) -> HttpResponse:
    """What the link shows, or 404 when it is over."""
    link = share.opened(request, token)
    systems = System.objects.filter(site__client=link.client)
    context = _context(request, link.client, systems, share.preference(request))
    return share.private(_answer(request, context))


def document(context: dict[str, Any]) -> str:
    """The report as HTML for paper. It holds no addresses, and the logo itself."""
    return render_to_string("report/paper/page.html", context)


def _context(
    request: HttpRequest, client: Client, systems: QuerySet[System], prefer: Preference
) -> dict[str, Any]:
    return {
        **told(request, systems, prefer),
        **company.letterhead(client),
        "logo_address": company.picture_itself(),
        "client": client,
        "title": client.name,
        "shared": True,
    }


def _answer(request: HttpRequest, context: dict[str, Any]) -> HttpResponse:
    try:
        body = pdf.write(document(context))
    except pdf.PdfError as fault:
        log.warning("%s", fault)
        ours = request.user.is_authenticated
        said = {
            "fault": fault if ours else None,
            "print": request.get_full_path().replace("/report.pdf", "/"),
        }
        return render(request, "report/paper/missing.html", said, status=503)
    name = f"{context['client'].code}-{context['report'].period.last}.pdf"
    answer = HttpResponse(body, content_type="application/pdf")
    answer["Content-Disposition"] = f'inline; filename="{name}"'
    return answer
