"""One event: what to check first, and why."""

from __future__ import annotations

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from fleet.models import Event, EventNote, System, VisitOutcome
from fleet.pages.event import advice
from tests.pages import scene
from tests.pages.scene import CANARY, Scene, signed_in

QUERIES = 12


def page(fleet: Scene, user: scene.User) -> str:
    answer = signed_in(user).get(f"/events/{fleet.event.pk}/")
    assert answer.status_code == 200
    return answer.content.decode()


def test_the_technician_reads_what_to_check_before_anything_else(fleet: Scene) -> None:
    seen = page(fleet, fleet.technician)
    first = advice.advice("overcharge").checks[0]
    assert first.do in seen
    assert first.confirms in seen
    assert first.refutes in seen
    assert "Logged: <b>12.4\u00a0K</b> ± 0.8\u00a0K, expected 5.0\u00a0K." in seen
    assert seen.index(first.do) < seen.index("What happened over time") < seen.index("Mind on site")


def test_the_ledger_says_measured_expected_uncertainty_and_push(fleet: Scene) -> None:
    seen = page(fleet, fleet.technician)
    for said in ("12.4\u00a0K", "5.0\u00a0K", "± 0.8\u00a0K", "10\u00a0times likelier"):
        assert said in seen
    assert "1 finding could not be told from these data" in seen
    assert "Standstill pressures" in seen


def test_times_are_the_sites_and_said_so(fleet: Scene) -> None:
    Event.objects.filter(pk=fleet.other_event.pk).update(assignee=fleet.technician)
    seen = signed_in(fleet.technician).get(f"/events/{fleet.other_event.pk}/").content.decode()
    assert "1 Mar 2026 02:30" in seen  # 06:00 UTC, three and a half hours behind
    assert "America/St_Johns" in seen


@pytest.mark.parametrize(("refrigerant", "group"), [("R-410A", "A1"), ("R-32", "A2L")])
def test_cautions_name_the_refrigerants_safety_class(
    fleet: Scene, refrigerant: str, group: str
) -> None:
    System.objects.filter(pk=fleet.system.pk).update(refrigerant=refrigerant)
    seen = page(fleet, fleet.technician)
    assert f"{refrigerant} is class {group} (ASHRAE 34)" in seen
    for word in ("Lock out", "High pressure", "fall protection", "Recover, weigh, compare"):
        assert word in seen


def test_only_managers_may_send_and_only_actors_see_forms(fleet: Scene) -> None:
    assert ">Assign<" in page(fleet, fleet.manager)
    assert ">Assign<" not in page(fleet, fleet.technician)
    assert ">Acknowledge<" in page(fleet, fleet.technician)
    reading = page(fleet, fleet.rep)
    assert ">Acknowledge<" not in reading
    assert ">Record the visit<" not in reading


def test_the_rep_of_another_client_gets_404_and_no_name(fleet: Scene) -> None:
    answer = signed_in(fleet.outsider).get(f"/events/{fleet.event.pk}/")
    assert answer.status_code == 404
    assert CANARY not in answer.content.decode()


def test_a_withdrawn_event_is_gone(fleet: Scene) -> None:
    Event.objects.filter(pk=fleet.event.pk).update(withdrawn=True)
    assert signed_in(fleet.manager).get(f"/events/{fleet.event.pk}/").status_code == 404


def test_notes_and_visits_are_escaped(fleet: Scene) -> None:
    hostile = "</textarea><script>alert(1)</script>"
    EventNote.objects.create(event=fleet.event, author=fleet.technician, text=hostile)
    fleet.event.visits.create(
        visitor=fleet.technician,
        visited_on="2026-03-05",
        outcome=VisitOutcome.CONFIRMED,
        remark=hostile,
    )
    Event.objects.filter(pk=fleet.event.pk).update(why=hostile)
    seen = page(fleet, fleet.technician)
    assert "<script>alert" not in seen
    assert seen.count("&lt;script&gt;alert(1)&lt;/script&gt;") >= 3


def test_an_event_without_a_kept_verdict_still_has_its_page(fleet: Scene) -> None:
    Event.objects.filter(pk=fleet.event.pk).update(verdict={})
    assert "The evidence of this event is not kept any more" in page(fleet, fleet.manager)


def test_a_span_of_nonsense_falls_back_to_the_peaks_day(fleet: Scene) -> None:
    browser = signed_in(fleet.manager)
    for query in ("span=year&on=yesterday", "on=9999-12-31", "on=0001-01-01&span=week"):
        seen = browser.get(f"/events/{fleet.event.pk}/?{query}")
        assert seen.status_code == 200
        assert "3 Mar 2026" in seen.content.decode() or "28 Feb 2026" in seen.content.decode()


def test_the_number_of_queries_does_not_grow_with_notes_and_visits(fleet: Scene) -> None:
    browser = signed_in(fleet.manager)
    url = f"/events/{fleet.event.pk}/"
    for i in range(2):
        EventNote.objects.create(event=fleet.event, author=fleet.manager, text=f"note {i}")
    with CaptureQueriesContext(connection) as few:
        browser.get(url)
    for i in range(20):
        EventNote.objects.create(event=fleet.event, author=fleet.technician, text=f"note {i}")
        fleet.event.visits.create(
            visitor=fleet.technician, visited_on="2026-03-05", outcome=VisitOutcome.CONFIRMED
        )
    with CaptureQueriesContext(connection) as many:
        browser.get(url)
    assert len(many) == len(few) <= QUERIES, [query["sql"] for query in many]
