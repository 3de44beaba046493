"""What was entered about a visit and refused: it stands in the form again, to be corrected."""

from __future__ import annotations

from django.http import HttpRequest, QueryDict

KEY = "visit"
"""Of the session; one visit at a time."""

MOST = 10_000
"""Characters kept: more than anybody writes beside a plant."""


def keep(request: HttpRequest, pk: int) -> None:
    """Keep what was sent about the event, for the next look at it."""
    sent = request.POST.copy()
    sent.pop("csrfmiddlewaretoken", None)
    request.session[KEY] = [pk, sent.urlencode()[:MOST]]


def again(request: HttpRequest, pk: int) -> QueryDict | None:
    """What was entered about this event, once; None where there is nothing."""
    if request.session.get(KEY, [None])[0] != pk:
        return None
    return QueryDict(request.session.pop(KEY)[1])
