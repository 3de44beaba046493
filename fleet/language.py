"""Which language somebody reads: what they chose, else what their browser asks for."""

from __future__ import annotations

from collections.abc import Callable

from django.conf import settings
from django.contrib.auth.models import User
from django.contrib.auth.signals import user_logged_in
from django.dispatch import receiver
from django.http import HttpRequest, HttpResponse
from django.utils import translation
from django.utils.cache import patch_vary_headers

from fleet.models import PersonSettings

KEY = "language"
"""Of the session, so that a page asks the database for nothing."""

SOURCE = "en"
"""The language of the program's own texts."""

FOR_PROGRAMS = ("/api/", "/healthz", "/readyz", "/metrics", "/admin/", "/runbook/")
"""Addresses that answer in the source's language: programs read them, or who runs the server."""


def middleware(get_response: Callable[[HttpRequest], HttpResponse]) -> object:
    """Answer each request in its reader's language, and say so in the answer."""

    def answer(request: HttpRequest) -> HttpResponse:
        if request.path_info.startswith(FOR_PROGRAMS):
            with translation.override(SOURCE):
                return get_response(request)
        with translation.override(reads(request)):
            answered = get_response(request)
            answered.headers.setdefault("Content-Language", translation.get_language() or SOURCE)
        patch_vary_headers(answered, ("Accept-Language",))
        return answered

    return answer


def reads(request: HttpRequest) -> str:
    """The language of who asks."""
    chosen = request.session.get(KEY, "")
    return chosen if known(chosen) else translation.get_language_from_request(request)


def of(person: User | None) -> str:
    """The language of letters to somebody: their choice, else the installation's."""
    stored = PersonSettings.objects.filter(user=person).values_list("language", flat=True).first()
    return stored if stored and known(stored) else settings.MAIL_LANGUAGE


def known(code: str) -> bool:
    """Whether there is such a language here."""
    return code in dict(settings.LANGUAGES)


def keep(request: HttpRequest, chosen: str) -> None:
    """Read this language from now on, in this session; empty is the browser's."""
    request.session[KEY] = chosen
    translation.activate(reads(request))


@receiver(user_logged_in)
def _bring_along(request: HttpRequest, user: User, **_: object) -> None:
    stored = PersonSettings.objects.filter(user=user).values_list("language", flat=True).first()
    if stored:
        request.session[KEY] = stored
