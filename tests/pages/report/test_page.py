"""How a client's buildings have been doing: the page over months."""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone
from django.utils.formats import date_format
from pytest_django import Settings

from diagnostics.windows import INDEX
from fleet.models import DueDay, Event, PooledDay, Site, SiteVisit, System, VisitOutcome
from fleet.pages import units
from fleet.pages.days import past
from fleet.pages.report import compare, contents, pdf
from fleet.pages.units import Preference
from tests.pages import scene
from tests.pages.days import YESTERDAY, put_days
from tests.pages.scene import CANARY, Scene, signed_in

QUERIES = 14


def page(user: scene.User, path: str = "/clients/kingfisher/") -> str:
    answer = signed_in(user).get(path)
    assert answer.status_code == 200
    return answer.content.decode()


def test_manager_and_rep_see_the_client_and_what_was_found(fleet: Scene) -> None:
    Event.objects.update(opened_at=timezone.now() - timedelta(days=9))
    put_days(fleet.system, YESTERDAY, [5.0] * 40)
    for user in (fleet.manager, fleet.rep):
        seen = page(user)
        assert f"{CANARY} Ferry Hall" in seen
        assert "1 suspicion in the period, still there; no visits recorded." in seen
        assert f'href="/events/{fleet.event.pk}/"' in seen
        assert 'class="history report-chart"' in seen
        assert "40 of 40 days judged" in seen
        first = date_format(YESTERDAY - timedelta(days=39), "j M Y")
        assert f"Data begin on {first}." in seen


def test_others_get_404_and_no_name(fleet: Scene) -> None:
    for user in (fleet.outsider, fleet.technician):
        answer = signed_in(user).get("/clients/kingfisher/")
        assert answer.status_code == 404
        assert "Estates" not in answer.content.decode()
    assert signed_in(fleet.outsider).get("/sites/ferry-hall/months/").status_code == 404


def test_the_technician_sees_the_months_of_assigned_systems_only(fleet: Scene) -> None:
    scene.system(fleet.site, "north-annex")
    assert "System north-annex" in page(fleet.manager, "/sites/ferry-hall/months/")
    seen = page(fleet.technician, "/sites/ferry-hall/months/")
    assert "System R1" in seen
    assert "north-annex" not in seen


def test_the_list_of_clients_holds_ones_own(fleet: Scene) -> None:
    assert "Plover" in page(fleet.manager, "/clients/")
    assert "Plover" not in page(fleet.rep, "/clients/")
    assert 'data-label="four weeks ago">–<' in page(fleet.rep, "/clients/")  # no data that old
    assert CANARY not in page(fleet.outsider, "/clients/")
    assert "No client is yours to look after" in page(fleet.technician, "/clients/")


@pytest.mark.parametrize(("days", "months"), [(30, 1), (56, 3), (91, 3), (180, 6)])
def test_days_stand_under_the_chart_and_within_it(fleet: Scene, days: int, months: int) -> None:
    put_days(fleet.system, YESTERDAY, [5.0] * days)
    seen = page(fleet.rep, f"/clients/kingfisher/?months={months}")
    at = [float(it) for it in re.findall(r'<text class="tick" x="([\d.]+)" y="209">', seen)]
    assert len(at) >= 2
    assert max(at) <= 352 - 30  # what a date takes before the right edge


def test_without_days_nothing_is_claimed(fleet: Scene) -> None:
    seen = page(fleet.rep)
    assert "1 system: 1 cannot be told." in seen
    assert "No analysed day in this period: nothing can be said." in seen
    assert "better" not in seen.split("</h1>")[1].split("<nav")[0]


def test_days_of_an_older_method_are_left_out_and_said(fleet: Scene) -> None:
    put_days(fleet.system, YESTERDAY, [5.0] * 30)
    PooledDay.objects.update(method_version=0)
    DueDay.objects.mark(fleet.system.pk, [YESTERDAY])
    seen = page(fleet.rep)
    assert "being judged again by a newer version of the method" in seen
    assert "nothing can be said" not in seen


def test_a_slow_loss_is_called_worse_and_drawn_below_its_band(fleet: Scene) -> None:
    put_days(fleet.system, YESTERDAY, [5.0] * 30 + [0.2] * 20, saturated_share=0.0)
    late = PooledDay.objects.filter(day__gt=YESTERDAY - timedelta(days=20))
    for row in late:
        row.features[INDEX["saturated_share"]] = 1.0
        row.save()
    told = contents.gather(
        System.objects.filter(pk=fleet.system.pk),
        contents.Period.before(timezone.now(), 3),
        Preference(),
    )
    (system,) = told.systems
    assert told.answer == "1 system: 1 worse."
    assert system.ends.after.off_k == pytest.approx(-4.8, abs=0.4)
    assert system.chart is not None
    assert system.chart.band.count("Z") == 1


def test_a_visit_stands_between_its_two_fortnights(fleet: Scene) -> None:
    put_days(fleet.system, YESTERDAY, [12.0] * 15 + [5.0] * 15)
    day = YESTERDAY - timedelta(days=14)
    Event.objects.filter(pk=fleet.event.pk).update(opened_at=timezone.now() - timedelta(days=30))
    SiteVisit.objects.create(
        event=fleet.event, visited_on=day, outcome=VisitOutcome.CONFIRMED, remark="Weighed."
    )
    seen = page(fleet.rep)
    assert "visit 1" in seen
    assert "suspicion confirmed" in seen
    assert "Weighed." in seen
    around = compare.around(past.load([fleet.system])[fleet.system.pk], day)
    assert around.before.last == day - timedelta(days=1)
    assert around.after.first == day + timedelta(days=1)
    assert around.before.fault is not None
    assert around.after.fault is not None
    assert around.before.fault > around.after.fault


def test_too_few_days_on_a_side_are_not_compared(fleet: Scene) -> None:
    put_days(fleet.system, YESTERDAY, [5.0] * 10)
    around = compare.around(past.load([fleet.system])[fleet.system.pk], YESTERDAY)
    assert around.before.fault is not None
    assert around.after.fault is None
    assert around.word == "cannot be told"


def test_rooms_short_are_degree_hours(fleet: Scene) -> None:
    put_days(fleet.system, YESTERDAY, [5.0] * 6, shortfall_k=2.0, asking_s=3 * 3600.0)
    of_system = past.load([fleet.system])[fleet.system.pk]
    assert of_system.short_kh.tolist() == [6.0] * 6  # two degrees for three hours
    assert units.degree_hours(6.0, Preference("degF")) == "11\u00a0°F·h"


def test_a_foreign_number_of_months_is_the_usual_one(fleet: Scene) -> None:
    for asked in ("0", "7", "x", "-1", "99999999999"):
        assert 'href="?months=3" aria-current="true"' in page(
            fleet.rep, f"/clients/kingfisher/?months={asked}"
        )


def test_queries_do_not_grow_with_systems_events_and_visits(fleet: Scene) -> None:
    browser = signed_in(fleet.manager)
    put_days(fleet.system, YESTERDAY, [5.0] * 10)
    with CaptureQueriesContext(connection) as few:
        browser.get("/clients/kingfisher/")
    for i in range(4):
        other = scene.system(fleet.site, f"S{i}")
        scene.stand(other, "normal", 0.9, 1.0)
        put_days(other, YESTERDAY, [5.0] * 10)
        event = scene.open_event(other)
        day = datetime.now(UTC).date()
        SiteVisit.objects.create(event=event, visited_on=day, outcome=VisitOutcome.CONFIRMED)
    with CaptureQueriesContext(connection) as many:
        browser.get("/clients/kingfisher/")
    assert len(many) <= len(few) + 1, [query["sql"] for query in many]
    assert len(many) <= QUERIES


def many_buildings(fleet: Scene, number: int) -> None:
    """More buildings of the watched client, two systems each."""
    for i in range(number):
        made = Site.objects.create(
            client=fleet.client, code=f"wing-{i}", name=f"Wing {i:02d}", timezone="Europe/Lisbon"
        )
        for code in ("R1", "R2"):
            scene.system(made, code)


def test_a_long_report_comes_in_parts_of_whole_buildings(fleet: Scene) -> None:
    many_buildings(fleet, 7)
    browser = signed_in(fleet.rep)
    first = browser.get("/clients/kingfisher/").content.decode()
    last = browser.get("/clients/kingfisher/?page=3").content.decode()
    assert "Part 1 of 3: the counts are of the 4 buildings below, out of 8." in first
    assert "15 systems in all, 1 suspicion open today." in first
    assert "PDF of part 1" in first or pdf.missing()
    assert f"{CANARY} Ferry Hall" in first
    assert "Wing 06" not in first
    assert "Wing 06" in last
    assert 'rel="next" href="?months=3&amp;page=2"' in first
    whole = browser.get("/clients/kingfisher/?all=1").content.decode()
    assert "15 systems:" in whole
    assert 'rel="next"' not in whole
    assert "in all, " not in whole


def test_parts_hold_only_what_the_person_may_see(fleet: Scene) -> None:
    many_buildings(fleet, 7)
    assert signed_in(fleet.outsider).get("/clients/kingfisher/?page=2").status_code == 404
    found = contents.parts(System.objects.filter(site=fleet.other_site))
    assert found.pages == [[fleet.other_site.pk]]
    assert (found.systems, found.lasting) == (1, 1)


def test_paper_carries_the_companys_name_and_logo(
    fleet: Scene, settings: Settings, tmp_path: Path
) -> None:
    logo = tmp_path / "logo.svg"
    logo.write_text('<svg xmlns="http://www.w3.org/2000/svg"/>')
    settings.COMPANY_NAME, settings.COMPANY_LOGO = "Weir & Sluice", str(logo)
    seen = page(fleet.rep)
    head = seen.split('class="paper-head"')[1].split("</p>")[0]
    assert "Weir &amp; Sluice" in head
    assert "/company-logo" in head
