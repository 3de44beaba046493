"""What stands in addresses and fields, wherever it comes from."""

from __future__ import annotations

from collections.abc import Callable

from django.core.exceptions import BadRequest
from django.http import HttpRequest, HttpResponse

MOST_DIGITS = 18
"""Python refuses to read thousands of them, and the database has no more."""


def whole(text: str) -> int | None:
    """The number that digits alone write, or None."""
    return int(text) if text.isdecimal() and len(text) <= MOST_DIGITS else None


def middleware(get_response: Callable[[HttpRequest], HttpResponse]) -> Callable[..., HttpResponse]:
    """Turn addresses with a NUL away: no text of the database may hold one."""

    def answer(request: HttpRequest) -> HttpResponse:
        if "\0" in request.path_info or "%00" in request.META.get("QUERY_STRING", ""):
            raise BadRequest("a NUL in the address")
        return get_response(request)

    return answer
