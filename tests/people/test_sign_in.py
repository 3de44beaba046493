"""Sign in, sign out, and what is open without it."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from django.test import Client as Browser
from django.test import RequestFactory
from django.urls import URLPattern, URLResolver, get_resolver
from django.utils import timezone
from pytest_django import Settings

from fleet.models import SignInFailure, sign_in
from fleet.pages.people.sign_in import address_of
from tests.pages.scene import Scene, signed_in

OPEN = {
    "sign-in": 200,
    "healthz": 200,
    "shared": 404,
    "shared-pdf": 404,
    "company-logo": 404,
    "offline": 200,
    "offline-worker": 200,
    "password-forgotten": 200,
    "password-sent": 200,
    "password-new": 200,
    "invitation": 404,
    "notices-stop": 404,
}
"""What answers without signing in; nonsense in an address gets 404."""
SAMPLES = {
    "<slug:code>": "ferry-hall",
    "<str:system>": "R1",
    "<int:pk>": "1",
    "<str:token>": "x:y",
    "<str:uidb64>": "x",
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


WRONG = {"username": "rhea", "password": "wrong"}
RIGHT = {"username": "rhea", "password": "open sesame 42"}


def test_after_five_wrong_passwords_even_the_right_one_has_to_wait(fleet: Scene) -> None:
    browser = Browser()
    for _ in range(sign_in.BY_BOTH):
        assert browser.post("/sign-in", WRONG).status_code == 200
    answer = browser.post("/sign-in", RIGHT)
    assert answer.status_code == 429
    assert 0 < int(answer["Retry-After"]) <= 900
    assert "Too many wrong passwords. Try again in 15 minutes." in answer.content.decode()
    SignInFailure.objects.update(at=timezone.now() - sign_in.SPAN)
    assert browser.post("/sign-in", RIGHT).status_code == 302


def test_a_name_that_is_not_there_waits_alike(fleet: Scene) -> None:
    for _ in range(sign_in.BY_BOTH):
        Browser().post("/sign-in", {"username": "nobody", "password": "x"})
    assert Browser().post("/sign-in", {"username": "Nobody ", "password": "x"}).status_code == 429
    assert Browser().post("/sign-in", RIGHT).status_code == 302


def test_one_address_does_not_keep_the_person_out_of_another(fleet: Scene) -> None:
    for _ in range(sign_in.BY_BOTH):
        Browser(REMOTE_ADDR="192.0.2.7").post("/sign-in", WRONG)
    assert Browser(REMOTE_ADDR="192.0.2.8").post("/sign-in", RIGHT).status_code == 302


def test_many_addresses_together_have_to_wait(fleet: Scene) -> None:
    for i in range(sign_in.BY_NAME):
        Browser(REMOTE_ADDR=f"192.0.2.{i}").post("/sign-in", WRONG)
    assert Browser(REMOTE_ADDR="198.51.100.1").post("/sign-in", RIGHT).status_code == 429


def test_the_right_password_forgets_earlier_slips(fleet: Scene) -> None:
    browser = Browser()
    for _ in range(3):
        for _ in range(sign_in.BY_BOTH - 1):
            browser.post("/sign-in", WRONG)
        assert browser.post("/sign-in", RIGHT).status_code == 302
    assert not SignInFailure.objects.exists()


def test_names_are_not_kept_in_clear(fleet: Scene) -> None:
    Browser().post("/sign-in", {"username": "my secret password", "password": "x"})
    kept = SignInFailure.objects.get()
    assert "secret" not in kept.name_digest
    assert kept.address == "127.0.0.1"


def test_behind_a_proxy_its_own_word_for_the_address_counts(settings: Settings) -> None:
    request = RequestFactory().get("/", headers={"X-Forwarded-For": "203.0.113.9, 192.0.2.1"})
    assert address_of(request) == "127.0.0.1"
    settings.HTTPS = True
    assert address_of(request) == "192.0.2.1"
    nonsense = RequestFactory().get("/", headers={"X-Forwarded-For": "<script>"})
    assert address_of(nonsense) is None


def test_the_administration_has_no_way_in_of_its_own(fleet: Scene) -> None:
    for answer in (Browser().get("/admin/login/?next=/admin/"), Browser().post("/admin/login/")):
        assert answer.status_code == 302
        assert answer["Location"].startswith("/sign-in")


def test_signing_out_takes_a_post_and_ends_the_session(fleet: Scene) -> None:
    browser = signed_in(fleet.rep)
    assert browser.get("/sign-out").status_code == 405
    assert browser.post("/sign-out")["Location"] == "/sign-in"
    assert browser.get("/").status_code == 302


def _routes(within: URLResolver) -> Iterator[URLPattern]:
    for route in within.url_patterns:
        if isinstance(route, URLResolver):
            yield from _routes(route)
        else:
            yield route


@pytest.mark.parametrize(
    "route", list(_routes(get_resolver("fleet.pages.urls"))), ids=lambda route: str(route.name)
)
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
