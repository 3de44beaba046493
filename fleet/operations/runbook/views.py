"""The runbook in the browser, for staff."""

from __future__ import annotations

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import URLPattern, path

from fleet.operations.runbook.leaves import leaf, leaves


def contents(request: HttpRequest) -> HttpResponse:
    """All pages by title."""
    _staff_only(request)
    return render(request, "runbook/contents.html", {"leaves": leaves()})


def page(request: HttpRequest, name: str) -> HttpResponse:
    """One page."""
    _staff_only(request)
    found = leaf(name)
    if found is None:
        raise Http404
    return render(request, "runbook/page.html", {"leaf": found, "html": found.as_html()})


def _staff_only(request: HttpRequest) -> None:
    if not getattr(request.user, "is_staff", False):
        raise Http404


urlpatterns: list[URLPattern] = [
    path("runbook/", contents, name="runbook"),
    path("runbook/<slug:name>/", page, name="runbook-page"),
]
