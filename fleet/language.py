"""Which language somebody reads: what they chose, else what their browser asks for."""

from __future__ import annotations

import re
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

SOURCE: str = settings.LANGUAGE_CODE
"""The language of the program's own texts."""

_WITH_COMMA = frozenset(("de",))
_POINT = re.compile(r"(?<![\d.])(\d+)\.(\d+)(?!\d|\.\d)")
"""Of a number; dates and versions have more than one."""

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


def of(person: User, otherwise: str = "") -> str:
    """The language of letters to somebody: their choice, else ``otherwise`` or the installation's.

    Asks for nothing where the person's settings are at hand.
    """
    stored = getattr(getattr(person, "settings", None), "language", "")
    return stored if known(stored) else otherwise or settings.MAIL_LANGUAGE


def decimal(text: str) -> str:
    """A number as printed, or a sentence with some, with the reader's decimal mark."""
    return _POINT.sub(r"\1,\2", text) if translation.get_language() in _WITH_COMMA else text


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
