"""Back to the page a form was sent from."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.urls import reverse
from django.utils.http import url_has_allowed_host_and_scheme


def back(request: HttpRequest) -> HttpResponse:
    """Where the person came from, if that is one of our own pages; else the first page."""
    page = request.POST.get("next", "")
    hosts = {request.get_host()}
    safe = url_has_allowed_host_and_scheme(page, hosts, require_https=request.is_secure())
    # Not `redirect`: it takes a bare word for the name of a page.
    return HttpResponseRedirect(page if safe else reverse("ranking"))
