"""What the OpenAPI description says beyond types: raw bodies, headers, problems."""

from __future__ import annotations

from collections import defaultdict
from typing import Any

from fleet.api.body import MAX_KEY_LENGTH
from fleet.api.problems import MEDIA_TYPE, Problem

_REFERENCE = {"$ref": "#/components/schemas/ProblemDetails"}


def _header(name: str, description: str, **schema: Any) -> dict[str, Any]:
    return {
        "in": "header",
        "name": name,
        "required": False,
        "description": description,
        "schema": {"type": "string", **schema},
    }


def problems(*statuses: int) -> dict[str, Any]:
    """The responses of these statuses, with the titles they may have."""
    titles: defaultdict[int, list[str]] = defaultdict(list)
    for problem in Problem:
        titles[problem.status.value].append(f"{problem.title}: {problem.remedy}")
    responses = {
        status: {
            "description": "\n".join(titles[status]),
            "content": {MEDIA_TYPE: {"schema": _REFERENCE}},
        }
        for status in statuses
    }
    return {"responses": responses}


UPLOAD: dict[str, Any] = {
    "parameters": [
        _header("Content-Encoding", "How the body is packed.", enum=["gzip", "identity"]),
        _header("Content-Disposition", 'Its filename is shown: attachment; filename="day.csv".'),
        _header(
            "Idempotency-Key",
            "The sender's own key for this upload: sent again with other bytes, it is refused.",
            minLength=1,
            maxLength=MAX_KEY_LENGTH,
            pattern="^[!-~]+$",
        ),
    ],
    "requestBody": {
        "required": True,
        "description": "CSV in UTF-8 with a header line; a row is the system at one instant.",
        "content": {"text/csv": {"schema": {"type": "string"}}},
    },
    **problems(401, 403, 404, 409, 411, 413, 415, 422, 429, 503),
}
