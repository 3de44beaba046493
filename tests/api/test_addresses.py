"""Every address of the API and who gets what there: one that is not listed fails."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from django.test import Client as Browser
from django.urls import URLPattern, URLResolver, get_resolver

from fleet.models import Client, Role, UploadToken
from tests.api.sender import CSV, Sender
from tests.pages.scene import person, signed_in

CALLERS = ("nobody", "token", "other token", "revoked token", "manager", "rep of the other")
NOBODY = (401,) * len(CALLERS)
OPEN = (200,) * len(CALLERS)
NOT_FOUND = (404,) * len(CALLERS)

# Route and method -> status for each caller.
TABLE = {
    ("api/v1/problems/<slug:slug>", "get"): OPEN,
    ("api/v1/openapi.json", "get"): OPEN,
    ("api/v1/sites/<slug:site>/systems/<slug:system>/uploads", "post"): (
        401, 202, 404, 401, 401, 401,
    ),
    ("api/v1/uploads/<uuidstr:upload_id>", "get"): (401, 200, 404, 401, 200, 404),
    ("api/v1/ranking", "get"): (401, 200, 200, 401, 200, 200),
    ("api/v1/", "get"): NOT_FOUND,
    ("^api/", "get"): NOT_FOUND,
    ("readyz", "get"): OPEN,
    ("metrics", "get"): OPEN,
}  # fmt: skip


def routes(patterns: list[URLPattern | URLResolver], before: str = "") -> Iterator[str]:
    for each in patterns:
        path = before + str(each.pattern)
        if isinstance(each, URLResolver):
            yield from routes(each.url_patterns, path)
        else:
            yield path


def test_every_address_is_in_the_table() -> None:
    found = set(routes(get_resolver("fleet.api.urls").url_patterns))
    assert found == {route for route, _ in TABLE}


@pytest.mark.parametrize(("route", "method"), TABLE)
@pytest.mark.parametrize("caller", CALLERS)
def test_everybody_gets_what_the_table_says(
    gateway: Sender, route: str, method: str, caller: str
) -> None:
    upload = gateway.post(CSV + b"\n").json()["upload"]  # type: ignore[attr-defined]
    path = (
        route.replace("<slug:slug>", "too-large")
        .replace("<slug:site>", "ferry-hall")
        .replace("<slug:system>", "R1")
        .replace("<uuidstr:upload_id>", upload)
        .replace("^api/", "api/v2/anything")
    )
    browser, headers = as_caller(caller, gateway)
    content = {"data": CSV, "content_type": "text/csv"} if method == "post" else {}
    answer = getattr(browser, method)(f"/{path}", headers=headers, **content)
    assert answer.status_code == TABLE[route, method][CALLERS.index(caller)], answer.content


def as_caller(caller: str, gateway: Sender) -> tuple[Browser, dict[str, str]]:
    """A browser and the headers it sends."""
    if caller == "manager":
        return signed_in(person("manager", Role.MANAGER)), {}
    if caller == "rep of the other":
        other = Client.objects.get(code="tidemark-hotels")
        return signed_in(person("rep", Role.ACCOUNT_REP, other)), {}
    revoked, revoked_text = UploadToken.objects.make(gateway.site)
    revoked.revoke(revoked.created_at)
    texts = {
        "token": gateway.text,
        "other token": gateway.other_text,
        "revoked token": revoked_text,
    }
    return Browser(), {"Authorization": f"Bearer {texts[caller]}"} if caller in texts else {}
