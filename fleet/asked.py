"""What stands in addresses and fields, wherever it comes from."""

from __future__ import annotations

from collections.abc import Callable

from django.conf import settings
from django.core.exceptions import BadRequest
from django.http import HttpRequest, HttpResponse

MOST_DIGITS = 18
"""Python refuses to read thousands of them, and the database has no more."""


def whole(text: str) -> int | None:
    """The number that digits alone write, or None."""
    digits = text.isascii() and text.isdecimal() and len(text) <= MOST_DIGITS
    return int(text) if digits else None


def middleware(get_response: Callable[[HttpRequest], HttpResponse]) -> Callable[..., HttpResponse]:
    """Turn addresses with a NUL away: no text of the database may hold one.

    What somebody with a session is shown stays out of caches: browsers are shared, and kept pages
    (`fleet.pages.offline`) lie in a store of their own, which signing out empties.
    """

    def answer(request: HttpRequest) -> HttpResponse:
        nul = "\0" in request.path_info or "%00" in request.META.get("QUERY_STRING", "")
        if nul and not request.path_info.startswith("/api/"):  # which has an answer of its own
            raise BadRequest("a NUL in the address")
        answered = get_response(request)
        if settings.SESSION_COOKIE_NAME in request.COOKIES:
            answered.headers.setdefault("Cache-Control", "private, no-store")
        return answered

    return answer
