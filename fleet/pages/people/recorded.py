"""Who saw and changed what in the organisation, for its managers to read."""

from __future__ import annotations

from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_GET

from fleet import access
from fleet.models import AuditEntry, Role

LINES_A_PAGE = 100


@require_GET
def recorded(request: HttpRequest) -> HttpResponse:
    """The organisation's record, newest first, for its managers."""
    lines = AuditEntry.objects.filter(organisation=access.managed_organisation_or_404(request.user))
    page = Paginator(lines, LINES_A_PAGE).get_page(request.GET.get("page"))
    return render(request, "people/record.html", {"page": page, "role": Role.MANAGER})
