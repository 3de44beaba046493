"""One's own settings: kept, brought along to the next sign-in, and ended by a link."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.core import mail
from django.core.management import call_command
from django.db import ProgrammingError, transaction
from django.test import Client as Browser
from django.utils import timezone
from pytest_django import Settings

from fleet.models import AuditEntry, Digest, Organisation, PersonSettings, ShareLink, sign_in
from fleet.notices import mails, outbox
from fleet.pages.units import LB_KG, Preference
from tests.pages.scene import Scene, signed_in

CHOSEN = {
    "email": "rhea@example.org",
    "password": "open sesame 42",
    "temperature": "degF",
    "pressure": "psig",
    "mass": "lb",
    "digest": "weekly",
    "language": "",
}


def test_settings_are_kept_and_come_along_to_the_next_sign_in(fleet: Scene) -> None:
    browser = signed_in(fleet.rep)
    answer = browser.post("/settings/", CHOSEN, follow=True)
    assert "Your settings are kept." in answer.content.decode()
    stored = PersonSettings.objects.get(user=fleet.rep)
    assert (stored.temperature, stored.pressure, stored.mass) == ("degF", "psig", "lb")
    assert (stored.digest, stored.urgent) == (Digest.WEEKLY, False)
    fleet.rep.refresh_from_db()
    assert fleet.rep.email == "rhea@example.org"
    another = Browser()
    another.post("/sign-in", {"username": "rhea", "password": "open sesame 42"})
    assert another.session["units"] == {"temperature": "degF", "pressure": "psig", "mass": "lb"}


def test_what_does_not_exist_is_refused(fleet: Scene) -> None:
    browser = signed_in(fleet.rep)
    answer = browser.post("/settings/", CHOSEN | {"temperature": "degR", "digest": "hourly"})
    said = answer.content.decode()
    assert "Temperatures: Select a valid choice. degR is not one of the available choices." in said
    assert "hourly is not one of the available choices." in said
    assert PersonSettings.objects.get(user=fleet.rep).digest == Digest.DAILY


def test_units_chosen_under_a_page_are_kept_too(fleet: Scene) -> None:
    signed_in(fleet.rep).post("/units", {"mass": "lb", "temperature": "<b>"})
    stored = PersonSettings.objects.get(user=fleet.rep)
    assert (stored.mass, stored.temperature) == ("lb", "")


def test_masses_are_in_the_readers_unit(fleet: Scene) -> None:
    browser = signed_in(fleet.rep)
    assert "18.5\u00a0kg" in browser.get("/sites/ferry-hall/R1/charge/").content.decode()
    browser.post("/units", {"mass": "lb"})
    # 18.5 kg / 0.45359237 = 40.785…
    said = browser.get("/sites/ferry-hall/R1/charge/?weighed=40.785").content.decode()
    assert "40.8\u00a0lb" in said
    assert "Recovered and weighed, lb" in said
    assert "0.0\u00a0% against the rated charge" in said


def test_a_pound_is_what_the_handbook_says() -> None:
    """NIST SP 811, appendix B.8: 1 lb = 4.535 923 7 E-01 kg, exact."""
    assert LB_KG == 0.45359237
    prefer = Preference(mass="lb")
    assert prefer.mass_in_kg(prefer.mass_of(18.5)) == pytest.approx(18.5)
    assert prefer.mass_in_kg(None) is None


@pytest.mark.parametrize("what", [mails.DIGEST, mails.URGENT])
def test_the_link_in_a_mail_ends_mails_of_its_kind(fleet: Scene, what: str) -> None:
    link = mails.stop_link(fleet.rep, what).partition("localhost:8000")[2]
    browser = Browser(enforce_csrf_checks=True)
    assert browser.get(link).status_code == 200
    stored = PersonSettings.objects.of(fleet.rep.pk)
    assert (stored.digest, stored.urgent) == (Digest.DAILY, True), "looking ends nothing"
    # RFC 8058: the mail program posts this, without a cookie or a form's token.
    assert browser.post(link, {"List-Unsubscribe": "One-Click"}).status_code == 200
    stored.refresh_from_db()
    ended = (Digest.OFF, True) if what == mails.DIGEST else (Digest.DAILY, False)
    assert (stored.digest, stored.urgent) == ended
    assert AuditEntry.objects.filter(who=fleet.rep, what=f"ended mails: {what}").exists()


def test_a_forged_link_is_not_found(fleet: Scene) -> None:
    link = mails.stop_link(fleet.rep, "digest").partition("localhost:8000")[2]
    assert Browser().post(link.replace("/stop/W", "/stop/X")).status_code == 404


def test_a_new_password_takes_the_old_one_and_ends_other_sessions(fleet: Scene) -> None:
    here, elsewhere = signed_in(fleet.rep), signed_in(fleet.rep)
    new = {"new_password1": "quite another one", "new_password2": "quite another one"}
    answer = here.post("/settings/password", {"old_password": "wrong", **new})
    assert answer["Location"] == "/settings/password"
    assert "That is not your password." in here.get("/settings/password").content.decode()
    answer = here.post("/settings/password", {"old_password": "open sesame 42", **new})
    assert answer["Location"] == "/settings/"
    assert here.get("/settings/").status_code == 200
    assert elsewhere.get("/settings/").status_code == 302


def test_the_record_is_written_once_and_read_by_managers(fleet: Scene) -> None:
    signed_in(fleet.rep)
    said = signed_in(fleet.manager).get("/record/").content.decode()
    assert "signed in" in said
    assert "rhea" in said
    entry = AuditEntry.objects.filter(name="rhea").first()
    assert entry is not None
    with pytest.raises(TypeError, match=r"A line of the record is never changed\."):
        entry.save()
    with pytest.raises(TypeError, match=r"A line of the record is never removed\."):
        entry.delete()


def test_what_leaves_the_house_is_written_down(
    fleet: Scene, capsys: pytest.CaptureFixture[str]
) -> None:
    browser = signed_in(fleet.rep)
    browser.post(f"/clients/{fleet.client.code}/share", {"reader": "the owner", "days": "7"})
    link = ShareLink.objects.get()
    for _ in range(2):
        assert Browser().get(f"/shared/{link.token}/").status_code == 200
    browser.post(f"/share-links/{link.pk}/revoke")
    call_command("token", fleet.site.code)
    visit = {"outcome": "confirmed", "visited_on": "2026-03-05"}
    signed_in(fleet.manager).post(f"/events/{fleet.event.pk}/visit", visit)
    said = list(AuditEntry.objects.exclude(what="signed in").order_by("pk"))
    assert [(line.name, line.what) for line in said] == [
        ("rhea", "shared the report of"),
        ("link for the owner", "opened the shared report of"),
        ("rhea", "took back the shared report of"),
        ("command line", "made a token"),
        ("mara", "recorded a visit at"),
    ]
    assert {line.organisation for line in said} == {Organisation.objects.default()}


def test_a_report_bears_the_name_of_the_company_that_looks_after_the_client(
    fleet: Scene, settings: Settings
) -> None:
    settings.COMPANY_NAME = "Brook Services"
    link = ShareLink.objects.create(
        client=fleet.client, reader="x", expires_at=timezone.now() + timedelta(days=1)
    )
    assert "Brook Services" in Browser().get(f"/shared/{link.token}/").content.decode()
    second = Organisation.objects.create(code="second", name="Second Company")
    type(fleet.client).objects.filter(pk=fleet.client.pk).update(organisation=second)
    said = Browser().get(f"/shared/{link.token}/").content.decode()
    assert "Second Company" in said
    assert "Brook Services" not in said


def test_an_address_takes_the_password_and_the_old_one_is_told(fleet: Scene) -> None:
    browser = signed_in(fleet.rep)
    browser.post("/settings/", CHOSEN)
    other = CHOSEN | {"email": "thief@example.org", "password": "wrong", "mass": "kg"}
    answer = browser.post("/settings/", other)
    assert "That is not your password." in answer.content.decode()
    fleet.rep.refresh_from_db()
    assert fleet.rep.email == "rhea@example.org"
    assert PersonSettings.objects.get(user=fleet.rep).mass == "lb", "nothing of it is kept"
    browser.post("/settings/", other | {"password": "open sesame 42"})
    outbox.send_waiting()
    assert [it.to for it in mail.outbox] == [["rhea@example.org"]]
    assert "go to another address from now on" in mail.outbox[0].body


def test_an_open_session_is_no_way_to_try_passwords_out(fleet: Scene) -> None:
    browser, new = signed_in(fleet.rep), {"new_password1": "quite another one"}
    new["new_password2"] = new["new_password1"]
    for _ in range(sign_in.BY_BOTH):
        browser.post("/settings/password", {"old_password": "wrong", **new})
    browser.post("/settings/password", {"old_password": "open sesame 42", **new})
    said = browser.get("/settings/password").content.decode()
    assert "Too many wrong passwords. Try again in some minutes." in said
    fleet.rep.refresh_from_db()
    assert fleet.rep.check_password("open sesame 42")


@pytest.mark.parametrize("how", ["update", "delete"])
def test_nor_can_the_record_be_changed_past_the_model(fleet: Scene, how: str) -> None:
    signed_in(fleet.rep)
    lines = AuditEntry.objects.filter(name="rhea")
    refused = pytest.raises(
        ProgrammingError, match="a line of the record is never changed or removed"
    )
    with refused, transaction.atomic():
        lines.update(what="nothing") if how == "update" else lines._raw_delete(lines.db)
    assert lines.get().what == "signed in"


def test_a_line_outlives_the_account_it_speaks_of(fleet: Scene) -> None:
    signed_in(fleet.rep)
    fleet.rep.delete()
    line = AuditEntry.objects.get(name="rhea")
    assert (line.who, line.what) == (None, "signed in")
