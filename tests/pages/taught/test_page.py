"""What visits taught: for managers of one company only, to read and to take back."""

from __future__ import annotations

from datetime import date
from typing import Any

import numpy as np
import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from diagnostics.findings import REGISTRY
from diagnostics.weighing import weigh
from diagnostics.weighing.weigh import CONDITIONS
from fleet.analysis import learning
from fleet.models import Event, EventChange, Organisation, SiteVisit, VisitOutcome
from tests.pages import scene
from tests.pages.scene import CANARY, Scene, signed_in

PATH = "/taught/"
QUERIES = 12


def ledger(**push: float) -> list[dict[str, Any]]:
    """A ledger whose first finding pushed so."""
    said = dict.fromkeys(CONDITIONS, 0.0) | push
    return [scene.ENTRY | {"finding": REGISTRY[0].name, "push": said}]


@pytest.fixture
def visit(fleet: Scene) -> SiteVisit:
    """A visit that found a wrong sensor where overcharge was suspected."""
    stored = scene.verdict("overcharge", 0.86) | {"ledger": ledger(overcharge=2.0)}
    Event.objects.filter(pk=fleet.event.pk).update(verdict=stored)
    made = SiteVisit.objects.create(
        event=fleet.event,
        visitor=fleet.technician,
        visited_on=date(2026, 3, 6),
        outcome=VisitOutcome.OTHER_CAUSE,
        found_condition="sensor_fault",
    )
    learning.renew()
    return made


def seen(fleet: Scene) -> str:
    answer = signed_in(fleet.manager).get(PATH)
    assert answer.status_code == 200
    return answer.content.decode()


def test_without_visits_the_page_says_that_the_table_holds(fleet: Scene) -> None:
    assert "No visit counts yet" in seen(fleet)


def test_the_tables_say_what_was_right_and_what_moved(fleet: Scene, visit: SiteVisit) -> None:
    page = seen(fleet)
    assert "<b>1 visit counts</b>" in page
    assert REGISTRY[0].title in page
    assert "Spoke for what was found in 0 of 1 visits" in page
    assert "Suspected too much refrigerant." in page
    assert "Other cause found: a sensor reads wrong" in page
    prior = weigh.together(np.exp(weigh.table().prior)[None], weigh.table())[0]
    assert f"{100 * prior[CONDITIONS.index('sensor_fault')]:.1f}\u00a0%" in page


@pytest.mark.parametrize("who", ["technician", "rep", "outsider"])
def test_nobody_but_a_manager_sees_or_changes_it(fleet: Scene, visit: SiteVisit, who: str) -> None:
    browser = signed_in(getattr(fleet, who))
    assert browser.get(PATH).status_code == 404
    assert browser.post(f"{PATH}{visit.pk}/count", {"reason": "no"}).status_code == 404
    visit.refresh_from_db()
    assert visit.counts
    assert "/taught/" not in browser.get("/").content.decode()


def test_another_company_s_manager_sees_nothing_of_it(fleet: Scene, visit: SiteVisit) -> None:
    other = Organisation.objects.create(code="other", name="Other")
    stranger = scene.person("sten", scene.Role.MANAGER)
    stranger.membership.organisation = other
    stranger.membership.save()
    browser = signed_in(stranger)
    page = browser.get(PATH).content.decode()
    assert CANARY not in page
    assert "No visit counts yet" in page
    assert browser.post(f"{PATH}{visit.pk}/count", {"reason": "no"}).status_code == 404


def test_a_visit_is_taken_out_with_a_reason_and_put_back(fleet: Scene, visit: SiteVisit) -> None:
    browser = signed_in(fleet.manager)
    refused = browser.post(f"{PATH}{visit.pk}/count", {"reason": " "}, follow=True)
    assert "Reason: This field is required." in refused.content.decode()
    visit.refresh_from_db()
    assert visit.counts
    left = browser.post(f"{PATH}{visit.pk}/count", {"reason": "wrong building"}, follow=True)
    page = left.content.decode()
    assert "The visit does not count any more. Systems are judged again with it now." in page
    assert "Does not count: taken out of the count (wrong building)." in page
    assert "No visit counts yet" in page
    again = browser.post(f"{PATH}{visit.pk}/count", follow=True).content.decode()
    assert "The visit counts again." in again
    assert "<b>1 visit counts</b>" in again
    told = list(EventChange.objects.values_list("who__username", "what"))
    assert told == [
        ("mara", "took out of the count the visit of 2026-03-06: wrong building"),
        ("mara", "put back into the count the visit of 2026-03-06"),
    ]


def test_more_visits_cost_no_more_queries(fleet: Scene, visit: SiteVisit) -> None:
    for day in range(7, 27):
        visit.pk, visit.visited_on = None, date(2026, 3, day)
        visit.save(force_insert=True)
    learning.renew()
    browser = signed_in(fleet.manager)
    with CaptureQueriesContext(connection) as asked:
        page = browser.get(PATH).content.decode()
    assert "a later visit for the same event speaks" in page
    assert len(asked) <= QUERIES


def test_a_visit_of_an_event_that_is_gone_is_not_linked(fleet: Scene, visit: SiteVisit) -> None:
    Event.objects.filter(pk=fleet.event.pk).update(withdrawn=True)
    assert f"/events/{fleet.event.pk}/" not in seen(fleet)
    assert "<b>1 visit counts</b>" in seen(fleet)


def test_a_manager_finds_the_way_from_the_ranking(fleet: Scene) -> None:
    assert 'href="/taught/"' in signed_in(fleet.manager).get("/").content.decode()
