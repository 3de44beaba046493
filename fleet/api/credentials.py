"""Who asks: a gateway with an upload token, or a person who is signed in to the pages."""

from __future__ import annotations

import logging

from django.contrib.auth.models import AbstractBaseUser
from django.http import HttpRequest
from django.utils import timezone
from ninja.security import APIKeyCookie
from ninja.security.http import HttpAuthBase

from fleet.api import limits
from fleet.api.problems import Problem, ProblemError
from fleet.models import UploadToken

logger = logging.getLogger(__name__)

Caller = UploadToken | AbstractBaseUser

_CHALLENGE = 'Bearer realm="millrace"'


class ApiRequest(HttpRequest):
    """A request whose caller is known."""

    auth: Caller


class Bearer(HttpAuthBase):
    """An upload token in ``Authorization: Bearer …`` (RFC 6750)."""

    openapi_scheme = "bearer"

    def __call__(self, request: HttpRequest) -> UploadToken | None:
        """The token; None when the request shows none.

        Raises ProblemError: 401 for a token that opens nothing; 429 for one used too often.
        """
        header = request.headers.get("Authorization")
        if header is None:
            return None
        scheme, _, text = header.partition(" ")
        known = UploadToken.objects.recognise(text.strip(), timezone.now())
        if scheme.lower() != "bearer" or known is None:
            # The header itself must not reach a log.
            logger.warning("A token that is unknown, revoked or expired was shown")
            raise unauthenticated('error="invalid_token"')
        limits.REQUESTS.take(known.prefix)
        return known


class SignedIn(APIKeyCookie):
    """The session of somebody who signed in to the pages."""

    def authenticate(self, request: HttpRequest, _key: str | None) -> AbstractBaseUser | None:
        """The person; the session middleware has read the cookie."""
        return request.user if request.user.is_authenticated else None


def unauthenticated(error: str = "") -> ProblemError:
    """401, with the challenge that RFC 9110 asks for."""
    challenge = f"{_CHALLENGE}, {error}" if error else _CHALLENGE
    return ProblemError(Problem.UNAUTHENTICATED, "", {"WWW-Authenticate": challenge})
