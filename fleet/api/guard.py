"""Around every view of the API: no token in clear, and every failure a problem document."""

from __future__ import annotations

import logging
from collections.abc import Callable

import psycopg
from django.conf import settings
from django.contrib.auth.decorators import login_not_required
from django.db import InterfaceError, OperationalError
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseNotAllowed
from django.http.response import HttpResponseBase
from django.views.decorators.csrf import csrf_exempt
from ninja.errors import AuthenticationError, HttpError, ValidationError

from fleet.api.credentials import unauthenticated
from fleet.api.problems import Problem, ProblemError, answer
from fleet.embedded import EmbeddedError

logger = logging.getLogger(__name__)

View = Callable[..., HttpResponseBase]

DATABASE_AWAY = (OperationalError, InterfaceError, psycopg.OperationalError, EmbeddedError)
RETRY_AFTER_S = 5


def guarded(view: View) -> View:
    """The view as ``explained``, and closed to plain HTTP where TLS is spoken."""

    def guard(request: HttpRequest, *args: object, **kwargs: object) -> HttpResponseBase:
        if settings.HTTPS and not request.is_secure():
            return answer(Problem.TLS_REQUIRED)
        return view(request, *args, **kwargs)

    return explained(guard)


def explained(view: View) -> View:
    """The view with problems for answers.

    It authenticates by itself, by a token or a session for reading: no sign-in page, no form.
    """

    @login_not_required
    @csrf_exempt
    def explaining(request: HttpRequest, *args: object, **kwargs: object) -> HttpResponseBase:
        try:
            given = view(request, *args, **kwargs)
        except Exception as error:  # noqa: BLE001 - explained, and logged, there
            return explain(request, error)
        if isinstance(given, HttpResponseNotAllowed):
            allowed = ", ".join(sorted(given["Allow"].split(", ")))
            return answer(Problem.METHOD_NOT_ALLOWED, headers={"Allow": allowed})
        return given

    return explaining


def explain(_request: HttpRequest, error: Exception | type[Exception]) -> HttpResponse:
    """The answer to a request that failed."""
    assert isinstance(error, Exception)  # ninja's handlers are typed for classes too
    match error:
        case AuthenticationError():
            return explain(_request, unauthenticated())
        case ProblemError():
            return answer(error.problem, error.detail, error.headers)
        case Http404():
            return answer(Problem.NOT_FOUND)
        case ValidationError() | HttpError():
            return answer(Problem.INVALID, str(error))
    if isinstance(error, DATABASE_AWAY):
        logger.error("The database is away: %s", error)
        headers = {"Retry-After": str(RETRY_AFTER_S)}
        return answer(Problem.UNAVAILABLE, "The database does not answer.", headers)
    logger.error("A request failed", exc_info=error)
    return answer(Problem.INTERNAL)
