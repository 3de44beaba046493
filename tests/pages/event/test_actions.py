"""What people may do with an event, and who may not."""

from __future__ import annotations

import re
from datetime import timedelta

import pytest
from django.test import Client as Browser
from django.utils import timezone

from fleet.models import Event, EventState, SiteVisit, VisitOutcome
from tests.pages.scene import Scene, signed_in

ACTIONS = ("acknowledge", "assign", "shelve", "unshelve", "note", "visit")


def post(fleet: Scene, browser: Browser, action: str, **fields: object) -> str:
    """Post, follow the way back to the event, and give the page."""
    answer = browser.post(f"/events/{fleet.event.pk}/{action}", fields, follow=True)
    assert answer.redirect_chain == [(f"/events/{fleet.event.pk}/", 302)]
    return answer.content.decode()


def test_acknowledging_moves_the_state_and_says_so(fleet: Scene) -> None:
    seen = post(fleet, signed_in(fleet.technician), "acknowledge")
    fleet.event.refresh_from_db()
    assert fleet.event.state == EventState.ACKNOWLEDGED_ACTIVE
    assert "Acknowledged." in seen
    assert ">Acknowledge<" not in seen


def test_a_step_the_state_does_not_allow_is_refused_with_the_reason(fleet: Scene) -> None:
    seen = post(fleet, signed_in(fleet.technician), "unshelve")
    assert "An event that is active, unacknowledged is not shelved." in seen


def test_shelving_needs_a_reason_and_comes_back_as_new(fleet: Scene) -> None:
    browser = signed_in(fleet.technician)
    assert "Reason: This field is required." in post(fleet, browser, "shelve", days=7, reason="")
    post(fleet, browser, "shelve", days=7, reason="waits for parts")
    fleet.event.refresh_from_db()
    assert fleet.event.state == EventState.SHELVED
    assert fleet.event.shelved_until is not None
    assert fleet.event.shelved_until - timezone.now() > timedelta(days=6)
    assert "Take from the shelf" in browser.get(f"/events/{fleet.event.pk}/").content.decode()
    post(fleet, browser, "unshelve")
    fleet.event.refresh_from_db()
    assert fleet.event.state == EventState.UNACKNOWLEDGED_ACTIVE


def test_the_manager_sends_a_technician_who_then_sees_the_event(fleet: Scene) -> None:
    other = f"/events/{fleet.other_event.pk}/"
    assert signed_in(fleet.technician).get(other).status_code == 404
    signed_in(fleet.manager).post(f"{other}assign", {"assignee": fleet.technician.pk})
    assert signed_in(fleet.technician).get(other).status_code == 200
    signed_in(fleet.manager).post(f"{other}assign", {"assignee": ""})
    assert signed_in(fleet.technician).get(other).status_code == 404


def test_only_technicians_can_be_sent(fleet: Scene) -> None:
    browser = signed_in(fleet.manager)
    for wanted in (fleet.rep.pk, fleet.manager.pk, 10**12, "tess; DROP"):
        assert "Choose a technician" in post(fleet, browser, "assign", assignee=wanted)
    fleet.event.refresh_from_db()
    assert fleet.event.assignee == fleet.technician


def test_a_note_is_kept_with_its_author(fleet: Scene) -> None:
    post(fleet, signed_in(fleet.rep), "note", text="Client asks for a date.")
    note = fleet.event.notes.get()
    assert (note.author, note.text) == (fleet.rep, "Client asks for a date.")
    assert "Text: This field is required." in post(fleet, signed_in(fleet.rep), "note", text=" ")


def test_a_visit_is_recorded_and_days_to_come_are_refused(fleet: Scene) -> None:
    browser = signed_in(fleet.technician)
    visit = {"outcome": "confirmed", "found_condition": "", "remark": "3.1 kg above nameplate"}
    tomorrow = timezone.localdate() + timedelta(days=2)
    seen = post(fleet, browser, "visit", visited_on=tomorrow.isoformat(), **visit)
    assert "Day of the visit: This day has not come yet at the site." in seen
    assert not SiteVisit.objects.exists()
    post(fleet, browser, "visit", visited_on="2026-03-05", **visit)
    kept = SiteVisit.objects.get()
    assert (kept.visitor, kept.outcome) == (fleet.technician, VisitOutcome.CONFIRMED)


@pytest.mark.parametrize("cause", ["normal", "not_enough_data", "wet_return"])
def test_only_a_fault_can_be_the_cause_found(fleet: Scene, cause: str) -> None:
    """What nothing can be learnt from: these are no conditions that are weighed."""
    fields = {"outcome": "other_cause", "found_condition": cause, "visited_on": "2026-03-05"}
    seen = post(fleet, signed_in(fleet.technician), "visit", **fields)
    assert "Cause found, when another: Select a valid choice." in seen
    assert not SiteVisit.objects.exists()


def test_what_was_entered_about_a_visit_outlives_a_refusal(fleet: Scene) -> None:
    browser = signed_in(fleet.technician)
    fields = {
        "outcome": "confirmed",
        "visited_on": timezone.now().date() - timedelta(days=1),
        "remark": "Flare nut at the second box",
        "reading_discharge_pressure_pa": "99999",
    }
    seen = post(fleet, browser, "visit", **fields)
    assert not SiteVisit.objects.exists()
    assert "Flare nut at the second box" in seen
    assert 'value="99999' in seen
    assert re.search(r'<input[^>]*value="confirmed"[^>]* checked', seen)
    assert seen.count("This cannot be: look at the number") == 2  # above, and beside its field
    again = browser.get(f"/events/{fleet.event.pk}/").content.decode()
    assert "Flare nut" not in again


@pytest.mark.parametrize("action", ACTIONS)
def test_outsiders_and_strangers_change_nothing(fleet: Scene, action: str) -> None:
    before = Event.objects.filter(pk=fleet.event.pk).values().get()
    url = f"/events/{fleet.event.pk}/{action}"
    fields = {"text": "x", "assignee": fleet.technician.pk, "days": 3, "reason": "x"}
    assert signed_in(fleet.outsider).post(url, fields).status_code == 404
    assert Browser().post(url, fields).status_code == 302
    assert signed_in(fleet.manager).get(url).status_code == 405
    assert Event.objects.filter(pk=fleet.event.pk).values().get() == before
    assert not fleet.event.notes.exists()


@pytest.mark.parametrize("action", [action for action in ACTIONS if action != "note"])
def test_a_rep_reads_but_does_not_act(fleet: Scene, action: str) -> None:
    answer = signed_in(fleet.rep).post(f"/events/{fleet.event.pk}/{action}", {})
    assert answer.status_code == 404


@pytest.mark.parametrize("action", ACTIONS)
def test_a_post_without_the_forms_token_is_refused(fleet: Scene, action: str) -> None:
    browser = Browser(enforce_csrf_checks=True)
    browser.force_login(fleet.manager)
    assert browser.post(f"/events/{fleet.event.pk}/{action}", {}).status_code == 403


def test_who_did_what_is_written_down(fleet: Scene) -> None:
    post(fleet, signed_in(fleet.technician), "acknowledge")
    post(fleet, signed_in(fleet.manager), "assign", assignee=fleet.technician.pk)
    post(fleet, signed_in(fleet.technician), "shelve", days=7, reason="waits for parts")
    post(fleet, signed_in(fleet.technician), "unshelve")
    today = timezone.localdate(timezone=fleet.site.zone)
    fields = {"visited_on": today.isoformat(), "outcome": VisitOutcome.CONFIRMED}
    seen = post(fleet, signed_in(fleet.technician), "visit", **fields)
    until = timezone.now() + timedelta(days=7)
    assert list(fleet.event.changes.values_list("who__username", "what")) == [
        ("tess", "acknowledged"),
        ("mara", "assigned to tess"),
        ("tess", f"shelved until {until:%Y-%m-%d}: waits for parts"),
        ("tess", "taken from the shelf"),
        ("tess", "recorded a visit: suspicion confirmed"),
    ]
    assert "tess acknowledged" in seen


def test_what_was_refused_is_not_written_down(fleet: Scene) -> None:
    post(fleet, signed_in(fleet.technician), "unshelve")
    post(fleet, signed_in(fleet.technician), "shelve", days=7, reason="")
    post(fleet, signed_in(fleet.manager), "assign", assignee="x")
    assert not fleet.event.changes.exists()
