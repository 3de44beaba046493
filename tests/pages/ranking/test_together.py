"""What a manager does with many sites at once, and what the ranking says of it."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.utils import timezone

from diagnostics.analyse import METHOD_VERSION
from fleet.models import Event, EventState, PooledDay, Site, SiteVisit, Standing, VisitOutcome
from fleet.pages.ranking import since
from fleet.pages.ranking.urgency import Urgency, Week
from fleet.pages.units import Preference
from tests.pages import scene
from tests.pages.days import put_days
from tests.pages.scene import CANARY, Scene, signed_in


def listed(fleet: Scene, query: str = "") -> str:
    """The list below the choices, as the manager sees it."""
    return signed_in(fleet.manager).get(f"/{query}").content.decode().split('id="list"')[1]


def test_ticked_events_are_shelved_with_a_reason_and_an_end(fleet: Scene) -> None:
    browser = signed_in(fleet.manager)
    both = {"event": [fleet.event.pk, fleet.other_event.pk], "do": "shelve", "days": 10}
    seen = browser.post("/events/together", both | {"reason": ""}, follow=True).content.decode()
    assert "Reason: This field is required." in seen
    seen = browser.post("/events/together", both | {"reason": "roof closed"}, follow=True)
    assert "2 events shelved." in seen.content.decode()
    until = (timezone.now() + timedelta(days=10)).date()
    assert f"Shelved until {until:%a} {until.day} {until:%b}: roof closed" in listed(fleet)
    assert set(Event.objects.values_list("state", flat=True)) == {EventState.SHELVED}
    assert "First in line" not in browser.get("/").content.decode()


def test_nothing_ticked_is_said(fleet: Scene) -> None:
    browser = signed_in(fleet.manager)
    seen = browser.post("/events/together", {"do": "send"}, follow=True).content.decode()
    assert "Tick at least one site with an open event first." in seen


def test_a_day_that_is_over_is_refused(fleet: Scene) -> None:
    day = timezone.now().date() - timedelta(days=3)
    sent = {"event": [fleet.event.pk], "do": "send", "day": day}
    seen = signed_in(fleet.manager).post("/events/together", sent, follow=True).content.decode()
    assert "on: This day is over." in seen
    fleet.event.refresh_from_db()
    assert fleet.event.visit_planned_on is None


@pytest.mark.parametrize("who", ["rep", "technician", "outsider"])
def test_only_managers_send_people(fleet: Scene, who: str) -> None:
    day = timezone.now().date() + timedelta(days=1)
    sent = {"event": [fleet.event.pk, fleet.other_event.pk], "do": "send", "day": day}
    signed_in(getattr(fleet, who)).post("/events/together", sent)
    assert not Event.objects.exclude(visit_planned_on=None).exists()


def test_another_site_is_not_redirected_to(fleet: Scene) -> None:
    sent = {"event": [fleet.event.pk], "do": "send", "next": "https://elsewhere.example/"}
    assert signed_in(fleet.manager).post("/events/together", sent)["Location"] == "/"


def test_the_list_narrows_by_client_region_suspicion_and_state(fleet: Scene) -> None:
    Site.objects.filter(pk=fleet.other_site.pk).update(region="North")
    assert CANARY not in listed(fleet, "?client=plover")
    assert CANARY not in listed(fleet, "?region=North")
    assert "Mill Lane" not in listed(fleet, "?region=Lisbon")
    assert "Mill Lane" not in listed(fleet, "?condition=overcharge")
    assert "Mill Lane" not in listed(fleet, "?state=sent")
    assert CANARY not in listed(fleet, "?state=untaken")
    assert "No site matches." in listed(fleet, "?client=plover&condition=overcharge")


def test_pages_of_a_narrowed_list_stay_narrowed(fleet: Scene) -> None:
    for i in range(40):
        made = Site.objects.create(
            client=fleet.client, code=f"x-{i}", name=f"X {i}", timezone="Europe/Lisbon"
        )
        scene.stand(scene.system(made), "overcharge", 0.7, 50.0)
    seen = listed(fleet, "?client=kingfisher&q=x")
    assert 'rel="next" href="/?q=x&amp;client=kingfisher&amp;page=2"' in seen
    assert "Mill Lane" not in listed(fleet, "?client=kingfisher&page=2")


def test_what_changed_since_yesterday_is_said(fleet: Scene) -> None:
    browser, now = signed_in(fleet.manager), timezone.now()
    assert "Nothing new" in browser.get("/").content.decode()
    Event.objects.filter(pk=fleet.event.pk).update(opened_at=since.yesterday(now))
    Event.objects.filter(pk=fleet.other_event.pk).update(closed_at=now)
    Standing.objects.filter(system=fleet.system).update(
        last_sample=now - timedelta(days=2, hours=1)
    )
    SiteVisit.objects.create(
        event=fleet.event, visited_on=now.date(), outcome=VisitOutcome.NOTHING_FOUND
    )
    seen = browser.get("/").content.decode().split('id="list"')[0]
    for title in ("New suspicions", "Gone", "Data stopped", "Visits"):
        assert f"<b>{title} <span" in seen
    assert 'class="fresh">new<' in listed(fleet)


def test_others_changes_are_not_seen(fleet: Scene) -> None:
    Event.objects.filter(pk=fleet.event.pk).update(opened_at=timezone.now())
    assert CANARY not in signed_in(fleet.outsider).get("/").content.decode()


def test_how_soon_follows_compressor_then_rooms() -> None:
    week = {"logged_h": 168.0, "running_h": 60.0, "judged_h": 50.0, "heating_h": 0.0}
    bad = Week(**week, asking_h=50.0, short_kh=40.0, cooling_h=30.0, air_k=303.15)
    fine = Week(**week, asking_h=50.0, short_kh=0.4, cooling_h=30.0, air_k=None)
    prefer = Preference()
    assert Urgency(fine, compressor=True, prefer=prefer).word == "as soon as somebody can"
    assert Urgency(bad, compressor=False, prefer=prefer).word == "this week"
    assert Urgency(fine, compressor=False, prefer=prefer).word == "with the next round"
    assert (
        Urgency(bad, compressor=False, prefer=prefer).comfort == "rooms short 40\u00a0K·h in 7 days"
    )
    assert (
        Urgency(bad, compressor=False, prefer=prefer).season
        == "mostly cooling at 30.0\u00a0°C outdoors"
    )
    assert Urgency(fine, compressor=False, prefer=prefer).comfort == "rooms keep their setpoints"
    assert Urgency(None, compressor=False, prefer=prefer).comfort == "comfort cannot be told"


def test_the_week_is_summed_in_the_database_without_the_unknown(fleet: Scene) -> None:
    last = timezone.now().date() - timedelta(days=1)
    nan = float("nan")
    hours = {"asking_s": 3600.0 * 5, "shortfall_k": 2.0, "cooling_s": 3600.0 * 4}
    put_days(fleet.system, last, [5.0] * 3, **hours)
    put_days(fleet.system, last - timedelta(days=3), [5.0], **hours | {"shortfall_k": nan})
    seen = listed(fleet)
    assert "rooms short 30\u00a0K·h in 7 days; mostly cooling at 20.0\u00a0°C outdoors" in seen
    assert "logged 96 of 168 h" in seen
    PooledDay.objects.update(method_version=METHOD_VERSION - 1)
    assert "comfort cannot be told" in listed(fleet)
