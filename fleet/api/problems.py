"""Answers that say what went wrong: RFC 9457 problem details."""

from __future__ import annotations

import json
from collections.abc import Mapping
from enum import Enum
from http import HTTPStatus
from typing import Any

from django.http import HttpResponse

MEDIA_TYPE = "application/problem+json"
TYPE_PATH = "/api/v1/problems/"


class Problem(Enum):
    """Every kind of problem: status, title, and what its sender may do about it.

    The name, in lower case with hyphens, ends the problem's type, which can be looked up there.
    """

    UNAUTHENTICATED = (401, "No valid token", "Send a valid upload token, or sign in.")
    TLS_REQUIRED = (403, "TLS is required", "Use https: a token must not travel in clear.")
    NOT_FOUND = (404, "Not found", "Check the address; what a token may not see is not found.")
    METHOD_NOT_ALLOWED = (405, "Method not allowed", "Use one of the methods in Allow.")
    KEY_REUSED = (
        409,
        "Idempotency key already used",
        "Send other data under another key, or without any: bytes are recognised anyway.",
    )
    LENGTH_REQUIRED = (411, "Length required", "Say how many bytes follow, in Content-Length.")
    TOO_LARGE = (413, "Upload too large", "Split the file at a line and repeat its header line.")
    UNSUPPORTED_TYPE = (
        415,
        "Unsupported content",
        "Send text/csv in UTF-8, plain or with Content-Encoding gzip.",
    )
    UNREADABLE = (422, "Unreadable upload", "Send the whole file again.")
    INVALID = (422, "Invalid request", "Correct what the detail names.")
    TOO_MANY = (429, "Too many requests", "Wait as long as Retry-After says.")
    INTERNAL = (500, "Internal error", "Try again later; tell the operator if it stays.")
    UNAVAILABLE = (503, "Not available", "Try again as Retry-After says; keep the file.")

    def __init__(self, status: int, title: str, remedy: str) -> None:
        """Takes the fields of a member apart."""
        self.status = HTTPStatus(status)
        self.title = title
        self.remedy = remedy

    @property
    def slug(self) -> str:
        """The end of the type."""
        return self.name.lower().replace("_", "-")


class ProblemError(Exception):
    """Ends the handling of a request with a problem. ``detail`` is about this occurrence."""

    def __init__(
        self, problem: Problem, detail: str = "", headers: Mapping[str, str] | None = None
    ) -> None:
        """Keeps what the answer is made of."""
        super().__init__(problem.title, detail)
        self.problem, self.detail, self.headers = problem, detail, headers


def answer(
    problem: Problem, detail: str = "", headers: Mapping[str, str] | None = None, **members: Any
) -> HttpResponse:
    """The response of a problem; ``members`` extend it (RFC 9457, section 3.2)."""
    document = {
        "type": TYPE_PATH + problem.slug,
        "title": problem.title,
        "status": problem.status.value,
        "detail": detail or problem.remedy,
        **members,
    }
    return HttpResponse(
        json.dumps(document), status=problem.status, content_type=MEDIA_TYPE, headers=headers
    )
