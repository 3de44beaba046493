"""The second step of signing in: codes as RFC 6238 has them, each good once."""

from __future__ import annotations

import re
import time

import pytest
from django.test import Client as Browser
from django_otp.oath import TOTP
from django_otp.plugins.otp_static.models import StaticToken
from django_otp.plugins.otp_totp.models import TOTPDevice

from fleet.models import AuditEntry, SignInFailure, sign_in
from fleet.pages.people import second_factor
from tests.pages.scene import Scene, signed_in

RIGHT = {"username": "rhea", "password": "open sesame 42", "next": "/clients/"}


@pytest.mark.parametrize(
    ("seconds", "code"),
    [
        (59, "94287082"),
        (1111111109, "07081804"),
        (1111111111, "14050471"),
        (1234567890, "89005924"),
        (2000000000, "69279037"),
        (20000000000, "65353130"),
    ],
)
def test_the_library_makes_the_codes_of_the_standard(seconds: int, code: str) -> None:
    """RFC 6238, appendix B, SHA-1."""
    totp = TOTP(b"12345678901234567890", digits=8)
    totp.time = seconds
    assert f"{totp.token():08d}" == code


def now_code(device: TOTPDevice, steps: int = 0) -> str:
    totp = TOTP(device.bin_key, device.step, device.t0, device.digits, device.drift)
    totp.time = time.time() + steps * device.step
    return f"{totp.token():06d}"


def turned_on(fleet: Scene) -> tuple[TOTPDevice, list[str]]:
    """The rep's authenticator as the page sets it up, and the spare codes it showed."""
    browser = signed_in(fleet.rep)
    browser.post("/settings/second-factor", {"do": "begin"})
    device = TOTPDevice.objects.get(user=fleet.rep)
    shown = browser.get("/settings/second-factor").content.decode()
    assert "data:image/svg+xml" in shown
    assert not second_factor.is_on(fleet.rep)
    answer = browser.post("/settings/second-factor", {"do": "confirm", "code": now_code(device)})
    codes = re.findall(r"<li><code>(\w+)</code></li>", answer.content.decode())
    assert len(codes) == second_factor.SPARE_CODES
    device.refresh_from_db()
    # The code just used counts as used; the next sign-in has the next one.
    TOTPDevice.objects.filter(pk=device.pk).update(last_t=-1)
    return device, codes


def test_the_password_alone_opens_nothing_then(fleet: Scene) -> None:
    device, _ = turned_on(fleet)
    browser = Browser()
    answer = browser.post("/sign-in", RIGHT)
    assert answer["Location"] == "/sign-in/code"
    assert browser.get("/clients/").status_code == 302
    assert browser.get("/api/v1/ranking").status_code == 401
    before = browser.session.session_key
    answer = browser.post("/sign-in/code", {"code": now_code(device)})
    assert answer["Location"] == "/clients/"
    assert browser.get("/clients/").status_code == 200
    assert browser.session.session_key != before, "the session's key must change at sign-in"


def test_a_code_is_good_once(fleet: Scene) -> None:
    device, _ = turned_on(fleet)
    code = now_code(device)
    for expected in (302, 200):
        browser = Browser()
        browser.post("/sign-in", RIGHT)
        answer = browser.post("/sign-in/code", {"code": code})
        assert answer.status_code == expected
    assert "That code is not right, or was used before." in answer.content.decode()


def test_a_spare_code_opens_once_and_others_stay_good(fleet: Scene) -> None:
    _, codes = turned_on(fleet)
    for code, expected in ((codes[0], 302), (codes[0], 200), (codes[1], 302)):
        SignInFailure.objects.all().delete()
        StaticToken.objects.first().device.throttle_reset()
        browser = Browser()
        browser.post("/sign-in", RIGHT)
        assert browser.post("/sign-in/code", {"code": code}).status_code == expected


def test_guessing_codes_has_to_wait_like_guessing_passwords(fleet: Scene) -> None:
    device, _ = turned_on(fleet)
    browser = Browser()
    browser.post("/sign-in", RIGHT)
    for _ in range(sign_in.BY_BOTH):
        assert browser.post("/sign-in/code", {"code": "000000"}).status_code == 200
    answer = browser.post("/sign-in/code", {"code": now_code(device)})
    assert answer.status_code == 429
    assert "Too many wrong tries. Try again in 15 minutes." in answer.content.decode()
    # Nor does the right password start the count anew.
    assert Browser().post("/sign-in", RIGHT).status_code == 429


def test_the_second_step_needs_the_first_a_moment_ago(
    fleet: Scene, monkeypatch: pytest.MonkeyPatch
) -> None:
    device, _ = turned_on(fleet)
    assert Browser().get("/sign-in/code")["Location"] == "/sign-in"
    browser = Browser()
    browser.post("/sign-in", RIGHT)
    later = time.time() + 301
    monkeypatch.setattr("fleet.pages.people.sign_in.time.time", lambda: later)
    answer = browser.post("/sign-in/code", {"code": now_code(device)})
    assert answer["Location"] == "/sign-in"


def test_a_password_changed_meanwhile_ends_the_way_in(fleet: Scene) -> None:
    device, _ = turned_on(fleet)
    browser = Browser()
    browser.post("/sign-in", RIGHT)
    fleet.rep.set_password("another one 4711")
    fleet.rep.save()
    assert browser.post("/sign-in/code", {"code": now_code(device)})["Location"] == "/sign-in"


def test_turning_it_off_takes_the_password(fleet: Scene) -> None:
    turned_on(fleet)
    browser = signed_in(fleet.rep)
    browser.post("/settings/second-factor", {"do": "remove", "password": "wrong"})
    assert second_factor.is_on(fleet.rep)
    browser.post("/settings/second-factor", {"do": "remove", "password": "open sesame 42"})
    assert not second_factor.is_on(fleet.rep)
    assert not StaticToken.objects.exists()
    said = list(AuditEntry.objects.filter(who=fleet.rep).values_list("what", flat=True))
    assert {"turned the second factor on", "turned the second factor off"} <= set(said)


def test_a_manager_takes_it_off_for_somebody_who_lost_it(fleet: Scene) -> None:
    turned_on(fleet)
    signed_in(fleet.manager).post(f"/people/{fleet.rep.pk}/", {"do": "second-factor"})
    assert not second_factor.is_on(fleet.rep)
    assert AuditEntry.objects.filter(who=fleet.manager, about="rhea").exists()


def test_beginning_again_does_not_turn_off_what_is_on(fleet: Scene) -> None:
    device, _ = turned_on(fleet)
    signed_in(fleet.rep).post("/settings/second-factor", {"do": "begin"})
    assert list(TOTPDevice.objects.filter(user=fleet.rep)) == [device]
