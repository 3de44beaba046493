"""A gateway as the tests need it: a site with two systems, another site, tokens for both."""

from __future__ import annotations

import gzip
import json
from dataclasses import dataclass
from typing import Any

from django.http import HttpResponse
from django.test import Client as Browser

from fleet.models import Site, System, Upload, UploadToken
from tests.analysis import building

HEADER = "time,suction_pressure [kPa(a)],discharge_pressure [kPa(a)]\n"
CSV = (HEADER + "2026-03-02T00:00:00Z,900,2600\n2026-03-02T00:01:00Z,901,2601\n").encode()
GZIP = gzip.compress(CSV, mtime=0)
PROBLEM = "application/problem+json"


@dataclass
class Sender:
    """Two sites of two clients, a token each; requests as a gateway makes them."""

    site: Site
    system: System
    other_system: System
    token: UploadToken
    text: str
    other_text: str

    def post(self, content: bytes, *, to: str = "ferry-hall/R1", **headers: str) -> HttpResponse:
        """Send an upload. Header names with underscores for hyphens; an empty value leaves out."""
        return self.call("post", address(to), content, **headers)

    def get(self, path: str, **headers: str) -> HttpResponse:
        """Ask."""
        return self.call("get", path, None, **headers)

    def call(self, method: str, path: str, content: bytes | None, **headers: str) -> HttpResponse:
        """Any request, with this site's token unless another Authorization is given."""
        given = {"Authorization": f"Bearer {self.text}", "Content_Type": "text/csv"} | headers
        named = {name.replace("_", "-"): value for name, value in given.items() if value}
        content_type = named.pop("Content-Type", "")
        more: dict[str, Any] = {} if content is None else {"data": content}
        # As a server does it: whatever goes wrong is an answer, not an exception.
        browser = Browser(raise_request_exception=False)
        answered: HttpResponse = browser.generic(
            method.upper(), path, content_type=content_type, headers=named, **more
        )
        return answered


def address(system: str) -> str:
    """Where uploads of ``site/system`` go."""
    site, code = system.split("/")
    return f"/api/v1/sites/{site}/systems/{code}/uploads"


def build() -> Sender:
    """The rows."""
    system = building.registered()
    building.registered(code="R2")
    other = building.registered(site="quay-store", client="tidemark-hotels")
    token, text = UploadToken.objects.make(system.site)
    _, other_text = UploadToken.objects.make(other.site)
    return Sender(system.site, system, other, token, text, other_text)


def kept() -> list[bytes]:
    """The bytes of every upload."""
    return [bytes(content) for content in Upload.objects.values_list("body", flat=True)]


def problem(answer: HttpResponse) -> tuple[int, str, str]:
    """Status, title and detail of a problem document, which must be one."""
    assert answer["Content-Type"] == PROBLEM, answer.content
    document = json.loads(answer.content)
    assert document["status"] == answer.status_code
    assert document["type"].startswith("/api/v1/problems/")
    return document["status"], document["title"], document["detail"]
