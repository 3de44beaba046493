"""Opened pages without a connection: the worker that keeps them, and their end at sign-out."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from django.contrib.auth.decorators import login_not_required
from django.contrib.auth.views import LogoutView
from django.contrib.staticfiles import finders
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_GET

WORKER = "millrace/offline-worker.js"


class SignOut(LogoutView):
    """Signs out, and has the browser forget whatever pages it kept for this person."""

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        """As usual, with the header that empties the browser's stores."""
        answer = super().post(request, *args, **kwargs)
        answer["Clear-Site-Data"] = '"cache", "storage"'
        return answer


@login_not_required
@require_GET
def worker(request: HttpRequest) -> HttpResponse:  # noqa: ARG001
    """The worker's script; from the root, because it may only keep what lies below it."""
    path = finders.find(WORKER)
    if path is None:
        raise Http404
    script = Path(str(path)).read_bytes()
    headers = {"Cache-Control": "no-cache"}
    return HttpResponse(script, content_type="text/javascript", headers=headers)


@login_not_required
@require_GET
def fallback(request: HttpRequest) -> HttpResponse:
    """What is shown without a connection instead of a page that was never opened."""
    return render(request, "offline.html")
