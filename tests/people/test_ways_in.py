"""Invitations, and new passwords by letter."""

from __future__ import annotations

import re
from datetime import timedelta

import pytest
from django.contrib.auth.models import User
from django.core import mail
from django.test import Client as Browser
from django.utils import timezone

from fleet.models import AuditEntry, Invitation, Membership, Outgoing, Role, SignInFailure
from fleet.notices import outbox
from tests.pages.scene import Scene, signed_in

ACCOUNT = {"username": "nova", "password1": "a long enough one", "password2": "a long enough one"}


def invited(fleet: Scene, **more: object) -> str:
    """The path of an invitation's link, as the letter has it."""
    data = {
        "email": "nova@example.org",
        "role": "account_rep",
        "clients": [fleet.client.pk],
        **more,
    }
    answer = signed_in(fleet.manager).post("/people/invite", data)
    shown = re.search(r"<code>http://testserver(/invitation/\S+/)</code>", answer.content.decode())
    assert shown is not None
    outbox.send_waiting()
    assert shown[1] in mail.outbox[-1].body
    assert mail.outbox[-1].to == ["nova@example.org"]
    return shown[1]


def test_whoever_has_the_link_makes_an_account_with_the_managers_choice(fleet: Scene) -> None:
    path = invited(fleet)
    assert Browser().post(path, ACCOUNT)["Location"] == "/sign-in"
    place = Membership.objects.get(user__username="nova")
    assert (place.role, place.organisation) == (
        Role.ACCOUNT_REP,
        fleet.manager.membership.organisation,
    )
    assert list(place.clients.all()) == [fleet.client]
    assert place.user.email == "nova@example.org"
    assert not place.user.is_staff
    assert not place.user.is_superuser
    browser = Browser()
    browser.post("/sign-in", {"username": "nova", "password": ACCOUNT["password1"]})
    assert browser.get(f"/sites/{fleet.site.code}/").status_code == 200
    assert browser.get(f"/sites/{fleet.other_site.code}/").status_code == 404


def test_an_invitation_opens_once(fleet: Scene) -> None:
    path = invited(fleet)
    Browser().post(path, ACCOUNT)
    assert Browser().get(path).status_code == 404
    assert Browser().post(path, ACCOUNT | {"username": "other"}).status_code == 404
    assert not User.objects.filter(username="other").exists()


def test_an_invitation_that_is_over_or_taken_back_opens_nothing(fleet: Scene) -> None:
    path = invited(fleet)
    Invitation.objects.update(expires_at=timezone.now() - timedelta(seconds=1))
    assert Browser().get(path).status_code == 404
    Invitation.objects.update(expires_at=timezone.now() + timedelta(days=1))
    assert Browser().get(path).status_code == 200
    signed_in(fleet.manager).post(f"/invitations/{Invitation.objects.get().pk}/revoke")
    assert Browser().get(path).status_code == 404


def test_the_link_is_kept_nowhere(fleet: Scene) -> None:
    secret = invited(fleet).split("/")[2]
    assert secret not in Invitation.objects.get().sha256
    assert Outgoing.objects.get().text == ""


@pytest.mark.parametrize(
    ("password", "complaint"),
    [
        ("short", "This password is too short. It must contain at least 12 characters."),
        ("password12345", "This password is too common."),
        ("novanovanova", "The password is too similar to the username."),
    ],
)
def test_weak_passwords_are_refused(fleet: Scene, password: str, complaint: str) -> None:
    data = {"username": "novanovanov", "password1": password, "password2": password}
    answer = Browser().post(invited(fleet), data)
    assert answer.status_code == 200
    assert complaint in answer.content.decode().replace("&#x27;", "'")
    assert not User.objects.filter(username="novanovanov").exists()


def test_only_managers_invite_and_only_to_their_own_clients(fleet: Scene) -> None:
    data = {"email": "x@example.org", "role": "manager"}
    for person in (fleet.rep, fleet.technician):
        assert signed_in(person).post("/people/invite", data).status_code == 404
    browser = signed_in(fleet.manager)
    answer = browser.post("/people/invite", data | {"clients": ["987654"]}, follow=True)
    assert "987654 is not one of the available choices." in answer.content.decode()
    assert not Invitation.objects.exists()


def test_a_manager_cannot_shut_themselves_out(fleet: Scene) -> None:
    browser = signed_in(fleet.manager)
    for data in ({"do": "close"}, {"do": "place", "role": "technician"}):
        answer = browser.post(f"/people/{fleet.manager.pk}/", data, follow=True)
        assert "Another manager changes your place" in answer.content.decode()
    fleet.manager.refresh_from_db()
    assert fleet.manager.is_active


def test_a_closed_account_is_out_at_once(fleet: Scene) -> None:
    theirs = signed_in(fleet.rep)
    assert theirs.get("/clients/").status_code == 200
    signed_in(fleet.manager).post(f"/people/{fleet.rep.pk}/", {"do": "close"})
    assert theirs.get("/clients/").status_code == 302
    answer = Browser().post("/sign-in", {"username": "rhea", "password": "open sesame 42"})
    assert "Name and password do not match." in answer.content.decode()
    said = AuditEntry.objects.get(what="closed the account of")
    assert (said.name, said.about) == ("mara", "rhea")


def asked_for_a_letter(address: str, where: str = "127.0.0.1") -> Browser:
    browser = Browser(REMOTE_ADDR=where)
    answer = browser.post("/password/forgotten", {"email": address})
    assert answer["Location"] == "/password/sent"
    outbox.send_waiting()
    return browser


def test_a_forgotten_password_is_set_anew_by_letter(fleet: Scene) -> None:
    User.objects.filter(pk=fleet.rep.pk).update(email="rhea@example.org")
    old = signed_in(fleet.rep)
    browser = asked_for_a_letter("Rhea@example.org")
    link = re.search(r"http://testserver(/password/new/\S+)", mail.outbox[-1].body)
    assert link is not None
    form = browser.get(link[1], follow=True)
    new = {"new_password1": "quite another one", "new_password2": "quite another one"}
    answer = browser.post(form.redirect_chain[-1][0], new)
    assert answer["Location"] == "/sign-in"
    assert browser.get("/clients/").status_code == 302, "a letter alone signs nobody in"
    assert old.get("/clients/").status_code == 302, "sessions of before end"
    right = {"username": "rhea", "password": "quite another one"}
    assert Browser().post("/sign-in", right).status_code == 302
    again = Browser().get(link[1], follow=True).content.decode()
    assert "This link opens nothing" in again


def test_whether_an_address_is_known_makes_no_difference(fleet: Scene) -> None:
    User.objects.filter(pk=fleet.rep.pk).update(email="rhea@example.org")
    answers = [
        Browser().post("/password/forgotten", {"email": address}, follow=True).content
        for address in ("rhea@example.org", "nobody@example.org")
    ]
    assert answers[0] == answers[1]


def test_letters_are_not_sent_without_end(fleet: Scene) -> None:
    User.objects.filter(pk=fleet.rep.pk).update(email="rhea@example.org")
    for _ in range(8):
        asked_for_a_letter("rhea@example.org")
        Outgoing.objects.all().delete()
    assert SignInFailure.objects.count() == 5
    assert len(mail.outbox) <= 5
