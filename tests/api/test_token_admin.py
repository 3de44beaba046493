"""Upload tokens in the administration site: made, shown once, replaced, revoked."""

from __future__ import annotations

import re

import pytest
from django.contrib.admin import site as administration
from django.test import Client as Browser
from django.utils import timezone

from fleet.models import AuditEntry, Role, UploadToken
from tests.api.sender import CSV, Sender
from tests.pages.scene import person, signed_in

LIST = "/admin/fleet/uploadtoken/"
TEXT = re.compile(r"millrace_[0-9a-f]{8}_[A-Za-z0-9_-]{43}")


@pytest.fixture
def staff(db: None) -> Browser:
    manager = person("rhea", Role.MANAGER)
    manager.is_staff = manager.is_superuser = True
    manager.save()
    return signed_in(manager)


def act(staff: Browser, action: str, token: UploadToken) -> str:
    chosen = {"action": action, "_selected_action": [token.pk]}
    return staff.post(LIST, chosen, follow=True).content.decode()


def test_one_is_made_and_shown_only_once(staff: Browser, gateway: Sender) -> None:
    answer = staff.post(f"{LIST}add/", {"site": gateway.site.pk})
    (text,) = TEXT.findall(answer.content.decode())
    token = UploadToken.objects.recognise(text, timezone.now())
    assert token is not None
    assert token.site == gateway.site
    assert "no-store" in answer["Cache-Control"]
    secret = text.split("_", 2)[2]
    for path in (LIST, f"{LIST}{token.pk}/change/", f"{LIST}{token.pk}/history/"):
        assert secret not in staff.get(path).content.decode()
    assert secret not in str(list(AuditEntry.objects.values_list("what", "about")))
    assert AuditEntry.objects.filter(what="made a token").exists()


def test_they_are_shown_without_their_digest(staff: Browser, gateway: Sender) -> None:
    for path in (LIST, f"{LIST}{gateway.token.pk}/change/"):
        page = staff.get(path).content.decode()
        assert gateway.token.prefix in page
        assert gateway.token.sha256 not in page


def test_one_is_replaced_and_the_old_one_lasts_a_day(staff: Browser, gateway: Sender) -> None:
    (text,) = TEXT.findall(act(staff, "rotate", gateway.token))
    assert UploadToken.objects.recognise(text, timezone.now()) is not None
    gateway.token.refresh_from_db()
    assert gateway.token.expires_at is not None
    assert 23 < (gateway.token.expires_at - timezone.now()).total_seconds() / 3600 <= 24


def test_one_is_revoked(staff: Browser, gateway: Sender) -> None:
    assert "1 tokens revoked." in act(staff, "revoke", gateway.token)
    assert gateway.post(CSV).status_code == 401
    assert "shown only this once" in act(staff, "rotate", gateway.token)
    assert UploadToken.objects.filter(site=gateway.site).count() == 1


def test_who_may_only_look_makes_and_revokes_none(gateway: Sender) -> None:
    looking = person("tam", Role.MANAGER)
    looking.is_staff = True
    looking.save()
    assert signed_in(looking).get(f"{LIST}add/").status_code == 403
    request = type("Request", (), {"user": looking})()
    model_admin = administration._registry[UploadToken]
    assert not model_admin.has_revoke_permission(request)  # type: ignore[attr-defined]
