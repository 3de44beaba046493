"""Liveness: the process answers. It asks nothing else, so that it stays true under load."""

from __future__ import annotations

from django.contrib.auth.decorators import login_not_required
from django.http import HttpRequest, HttpResponse


@login_not_required
def healthz(_request: HttpRequest) -> HttpResponse:
    """200 and ``ok``."""
    return HttpResponse("ok\n", content_type="text/plain")
