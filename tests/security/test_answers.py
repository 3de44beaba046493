"""What every answer carries, on every address, and what the log says of those who try."""

from __future__ import annotations

import logging

import pytest
from django.conf import global_settings, settings
from django.contrib.auth.hashers import PBKDF2PasswordHasher
from django.test import Client as Browser

from fleet import settings as own_settings
from fleet.api import credentials
from fleet.models import AuditEntry, UploadToken
from fleet.models import token as tokens
from tests.api.sender import Sender
from tests.fuzz.hostile import WORDS
from tests.pages.scene import Scene, signed_in
from tests.people.doors import DOORS
from tests.people.world import World


def test_every_page_carries_the_headers_and_stays_out_of_caches(world: World) -> None:
    browser = Browser(raise_request_exception=False)
    browser.force_login(world.people["manager"])
    asked = 0
    for route, door in DOORS.items():
        answer = browser.get(door.path.format(**world.ids))
        policy = answer.headers["Content-Security-Policy"]
        assert "unsafe-inline" not in policy, route
        assert "unsafe-eval" not in policy, route
        assert "default-src 'none'" in policy, route
        assert answer.headers["X-Content-Type-Options"] == "nosniff", route
        assert answer.headers["Referrer-Policy"] in ("same-origin", "no-referrer"), route
        assert answer.headers["X-Frame-Options"] == "DENY", route
        assert "Access-Control-Allow-Origin" not in answer.headers, route
        kept = answer.headers["Cache-Control"]
        assert "no-" in kept or "private" in kept or route == "company-logo", (route, kept)
        asked += 1
    assert asked == len(DOORS)


def test_cookies_are_closed_to_scripts_and_other_sites() -> None:
    assert settings.SESSION_COOKIE_HTTPONLY
    assert settings.CSRF_COOKIE_HTTPONLY
    assert settings.SESSION_COOKIE_SAMESITE == settings.CSRF_COOKIE_SAMESITE == "Lax"


def test_a_session_gets_a_new_key_at_sign_in_and_ends_at_sign_out(fleet: Scene) -> None:
    browser = Browser()
    browser.get("/sign-in")
    session = browser.session
    session["before"] = 1
    session.save()
    before = session.session_key
    browser.post("/sign-in", {"username": "mara", "password": "open sesame 42"})
    after = browser.session.session_key
    assert before
    assert after not in (before, None)
    stolen = browser.cookies[settings.SESSION_COOKIE_NAME].value
    browser.post("/sign-out")
    thief = Browser()
    thief.cookies[settings.SESSION_COOKIE_NAME] = stolen
    assert thief.get("/clients/").status_code == 302


def test_failed_sign_ins_are_logged_without_what_was_typed(
    fleet: Scene, caplog: pytest.LogCaptureFixture
) -> None:
    with caplog.at_level(logging.WARNING, "fleet"):
        for _ in range(6):
            Browser().post("/sign-in", {"username": "typed-secret", "password": "another-secret"})
    said = [record.getMessage() for record in caplog.records if record.name.startswith("fleet")]
    assert said.count("A sign-in from 127.0.0.1 failed: wrong name or password") == 5
    assert said.count("A sign-in from 127.0.0.1 failed: too many failures before") == 1
    assert "secret" not in caplog.text


def test_tokens_are_compared_in_constant_time(
    gateway: Sender, monkeypatch: pytest.MonkeyPatch
) -> None:
    compared: list[tuple[str, str]] = []
    monkeypatch.setattr(
        tokens.secrets, "compare_digest", lambda a, b: bool(compared.append((a, b))) or a == b
    )
    assert gateway.get("/api/v1/ranking").status_code == 200
    wrong = gateway.text[:-1] + ("a" if gateway.text[-1] != "a" else "b")
    header = {"Authorization": f"Bearer {wrong}"}
    assert gateway.get("/api/v1/ranking", **header).status_code == 401
    assert len(compared) == 2
    assert compared[0][0] == compared[0][1]
    assert compared[1][0] != compared[1][1]


def test_no_secret_is_logged_or_stored_as_it_is(
    gateway: Sender, caplog: pytest.LogCaptureFixture
) -> None:
    with caplog.at_level(logging.DEBUG):
        gateway.get("/api/v1/ranking")
        gateway.get("/api/v1/ranking", Authorization=f"Bearer {gateway.text}x")
    secret = gateway.text.rpartition("_")[2]
    assert secret not in caplog.text
    kept = UploadToken.objects.filter(pk=gateway.token.pk).values().get()
    assert secret not in repr(kept)
    assert credentials.logger.name in caplog.text


@pytest.mark.parametrize("word", [word for word in WORDS if "<" in word or "{" in word])
def test_hostile_names_are_text_wherever_they_are_shown(fleet: Scene, word: str) -> None:
    browser = signed_in(fleet.manager)
    fleet.client.name = fleet.site.name = word
    fleet.client.save()
    fleet.site.save()
    browser.post(f"/events/{fleet.event.pk}/note", {"text": word})
    AuditEntry.objects.by_command(word[:60], word, fleet.client.organisation_id)
    pages = (
        "/",
        f"/events/{fleet.event.pk}/",
        f"/sites/{fleet.site.code}/",
        "/clients/",
        "/record/",
    )
    for path in pages:
        text = browser.get(path).content.decode()
        assert not ("<" in word and word in text), path
        assert "49" not in text.partition("{{ 7*7 }}")[2][:2], path
    assert browser.get("/clients/").status_code == 200


def test_passwords_are_kept_by_a_slow_function() -> None:
    assert global_settings.PASSWORD_HASHERS[0].endswith(".PBKDF2PasswordHasher")
    assert "PASSWORD_HASHERS" not in vars(own_settings)
    assert (
        PBKDF2PasswordHasher.iterations >= 600_000
    )  # OWASP Password Storage Cheat Sheet, from memory
