"""A link that shows one client's report to somebody without an account."""

from __future__ import annotations

import re
from datetime import date, timedelta
from pathlib import Path

import pytest
from django.core import signing
from django.test import Client as Browser
from django.utils import timezone
from pytest_django import Settings

from fleet.models import EventNote, ShareLink, SiteVisit, VisitOutcome
from tests.pages import scene
from tests.pages.days import YESTERDAY, put_days
from tests.pages.scene import CANARY, Scene, signed_in


def link(fleet: Scene, **more: object) -> ShareLink:
    """A link of the watched client, a week to go."""
    expires_at = timezone.now() + timedelta(days=7)
    return ShareLink.objects.create(
        **{"client": fleet.client, "reader": "the owner", "expires_at": expires_at, **more}
    )


def make(user: scene.User, **fields: object) -> int:
    sent = {"reader": "the owner", "days": 30, **fields}
    return signed_in(user).post("/clients/kingfisher/share", sent).status_code


def test_manager_and_rep_make_a_link_and_see_its_address(fleet: Scene) -> None:
    for user in (fleet.manager, fleet.rep):
        assert make(user) == 302
        made = ShareLink.objects.first()
        assert made is not None
        assert (made.client, made.made_by) == (fleet.client, user)
        assert timedelta(days=29) < made.expires_at - timezone.now() <= timedelta(days=30)
        seen = signed_in(user).get("/clients/kingfisher/").content.decode()
        assert f"/shared/{made.token}/" in seen


def test_others_can_neither_make_nor_revoke(fleet: Scene) -> None:
    made = link(fleet)
    for user in (fleet.outsider, fleet.technician):
        assert make(user) == 404
        assert signed_in(user).post(f"/share-links/{made.pk}/revoke").status_code == 404
    assert ShareLink.objects.get().revoked_at is None


@pytest.mark.parametrize("days", ["0", "365", "", "x"])
def test_a_link_for_ever_is_refused(fleet: Scene, days: str) -> None:
    assert make(fleet.manager, days=days) == 302
    assert not ShareLink.objects.exists()


def test_whoever_has_the_link_sees_the_client_without_an_account(fleet: Scene) -> None:
    put_days(fleet.system, YESTERDAY, [5.0] * 30)
    browser = Browser()
    answer = browser.get(f"/shared/{link(fleet).token}/")
    seen = answer.content.decode()
    assert answer.status_code == 200
    assert f"{CANARY} Ferry Hall" in seen
    assert 'class="history report-chart"' in seen
    assert not browser.cookies
    assert answer["X-Robots-Tag"] == "noindex, nofollow, noarchive"
    assert answer["Referrer-Policy"] == "no-referrer"
    assert answer["Cache-Control"] == "private, no-store"
    assert '<meta name="robots" content="noindex, nofollow, noarchive">' in seen
    assert ShareLink.objects.get().opened_at is not None


def speak_freely(fleet: Scene, visited_on: date) -> None:
    """A visit, and words that are for ourselves."""
    EventNote.objects.create(event=fleet.event, author=fleet.manager, text="The owner is slow.")
    SiteVisit.objects.create(
        event=fleet.event,
        visitor=fleet.technician,
        visited_on=visited_on,
        outcome=VisitOutcome.CONFIRMED,
        remark="Sloppy brazing by the last firm.",
    )


def test_notes_remarks_people_other_clients_and_our_own_pages_are_not_on_it(fleet: Scene) -> None:
    put_days(fleet.system, YESTERDAY, [5.0] * 30)
    speak_freely(fleet, YESTERDAY - timedelta(days=3))
    seen = Browser().get(f"/shared/{link(fleet).token}/").content.decode()
    assert "suspicion confirmed" in seen
    for kept in ("slow", "Sloppy", "tess", "mara", "rhea", "Plover", "Mill Lane", "the owner"):
        assert not re.search(rf"\b{kept}\b", seen)
    for address in ("/sites/", "/events/", "/clients/", "/sign-in", "/shared/", "csrf"):
        assert address not in seen


def test_expired_revoked_and_forged_links_get_404(fleet: Scene) -> None:
    made = link(fleet)
    forged = [
        f"{made.key}:{'x' * 43}",
        signing.Signer(salt="another").sign(made.key),
        signing.Signer(salt="millrace.share").sign("unknown"),
        made.key,
    ]
    over = link(fleet, expires_at=timezone.now() - timedelta(seconds=1))
    gone = link(fleet, revoked_at=timezone.now())
    for token in (*forged, over.token, gone.token):
        answer = Browser().get(f"/shared/{token}/")
        assert answer.status_code == 404
        assert CANARY not in answer.content.decode()


def test_revoking_closes_it_at_once(fleet: Scene) -> None:
    made = link(fleet)
    assert Browser().get(f"/shared/{made.token}/").status_code == 200
    assert signed_in(fleet.rep).post(f"/share-links/{made.pk}/revoke").status_code == 302
    assert Browser().get(f"/shared/{made.token}/").status_code == 404
    assert "revoked" in signed_in(fleet.rep).get("/clients/kingfisher/").content.decode()


def test_the_reader_may_choose_fahrenheit(fleet: Scene) -> None:
    put_days(fleet.system, YESTERDAY, [5.0] * 30)
    seen = Browser().get(f"/shared/{link(fleet).token}/?temperature=degF").content.decode()
    assert "subcooling, °F" in seen
    assert "?months=6&amp;temperature=degF" in seen


def test_the_companys_name_and_picture_head_the_page(
    fleet: Scene, settings: Settings, tmp_path: Path
) -> None:
    picture = tmp_path / "mark.svg"
    picture.write_text('<svg xmlns="http://www.w3.org/2000/svg"/>')
    settings.COMPANY_NAME, settings.COMPANY_LOGO = "Weir & Sons", str(picture)
    seen = Browser().get(f"/shared/{link(fleet).token}/").content.decode()
    assert "Weir &amp; Sons" in seen
    assert '<img src="/company-logo"' in seen
    answer = Browser().get("/company-logo")
    assert answer["Content-Type"] == "image/svg+xml"
    assert b"".join(answer.streaming_content) == picture.read_bytes()  # type: ignore[attr-defined]


def test_a_file_that_is_no_picture_is_not_handed_out(settings: Settings, tmp_path: Path) -> None:
    secret = tmp_path / "secret_key"
    secret.write_text("x")
    settings.COMPANY_LOGO = str(secret)
    assert Browser().get("/company-logo").status_code == 404
