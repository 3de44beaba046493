"""Sign in, sign out, and what is open without it."""

from __future__ import annotations

import pytest
from django.test import Client as Browser
from django.urls import URLPattern, get_resolver

from tests.pages.scene import Scene, signed_in

OPEN = {"sign-in": 200, "healthz": 200, "shared": 404, "company-logo": 404}
"""What answers without signing in; nonsense in an address gets 404."""
SAMPLES = {
    "<slug:code>": "ferry-hall",
    "<str:system>": "R1",
    "<int:pk>": "1",
    "<str:token>": "x:y",
}


def test_the_right_password_leads_where_one_wanted_to_go(fleet: Scene) -> None:
    answer = Browser().post(
        "/sign-in?next=/sites/ferry-hall/",
        {"username": "rhea", "password": "open sesame 42", "next": "/sites/ferry-hall/"},
    )
    assert answer["Location"] == "/sites/ferry-hall/"


def test_a_wrong_password_is_told_without_saying_which_was_wrong(fleet: Scene) -> None:
    for name in ("rhea", "nobody"):
        answer = Browser().post("/sign-in", {"username": name, "password": "wrong"})
        assert answer.status_code == 200
        assert "Name and password do not match." in answer.content.decode()


def test_signing_out_takes_a_post_and_ends_the_session(fleet: Scene) -> None:
    browser = signed_in(fleet.rep)
    assert browser.get("/sign-out").status_code == 405
    assert browser.post("/sign-out")["Location"] == "/sign-in"
    assert browser.get("/").status_code == 302


def _routes() -> list[URLPattern]:
    included = get_resolver("fleet.pages.urls")
    return [route for route in included.url_patterns if isinstance(route, URLPattern)]


@pytest.mark.parametrize("route", _routes(), ids=lambda route: str(route.name))
def test_every_page_is_closed_unless_listed_open(route: URLPattern, db: None) -> None:
    path = str(route.pattern)
    for part, value in SAMPLES.items():
        path = path.replace(part, value)
    assert "<" not in path, "give the address a sample value"
    answer = Browser().get(f"/{path}")
    if route.name in OPEN:
        assert answer.status_code == OPEN[str(route.name)]
    else:
        assert answer.status_code == 302
        assert answer["Location"].startswith("/sign-in")


def test_healthz_answers_without_a_database() -> None:
    answer = Browser().get("/healthz")
    assert (answer.status_code, answer.content) == (200, b"ok\n")
