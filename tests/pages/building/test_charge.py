"""The charge worksheet: says what is known, asks for the limit, orders nothing."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from fleet.models import IndoorUnit, Standing
from fleet.pages.days import past
from fleet.pages.units import Preference
from tests.pages import scene
from tests.pages.days import YESTERDAY, put_days
from tests.pages.scene import CANARY, Scene, signed_in

QUERIES = 11
SHEET = "/sites/ferry-hall/R1/charge/"


def page(user: scene.User, query: str = "") -> str:
    answer = signed_in(user).get(SHEET + query)
    assert answer.status_code == 200
    return answer.content.decode()


def test_manager_rep_and_technician_read_it(fleet: Scene) -> None:
    for user in (fleet.manager, fleet.rep, fleet.technician):
        seen = page(user)
        assert "Recover, weigh, compare." in seen
        assert "18.5\u00a0kg" in seen
        assert "class A2L" in seen
        assert "12.5\u00a0t" in seen  # 18.5 kg of R-32 at a GWP of 675


def test_others_get_404_and_no_name(fleet: Scene) -> None:
    answer = signed_in(fleet.outsider).get(SHEET)
    assert answer.status_code == 404
    assert CANARY not in answer.content.decode()
    assert signed_in(fleet.technician).get("/sites/mill-lane/R1/charge/").status_code == 404
    assert signed_in(fleet.manager).get("/sites/ferry-hall/X9/charge/").status_code == 404


def test_no_line_tells_anybody_to_add_or_vent(fleet: Scene) -> None:
    seen = page(fleet.manager).lower()
    for order in ("add refrigerant", "top up", "vent the", "release refrigerant", "remove refrig"):
        assert order not in seen


def test_the_limit_is_the_readers_and_needs_its_edition(fleet: Scene) -> None:
    IndoorUnit.objects.filter(code="A-1").update(room_volume_m3=100.0)
    seen = page(fleet.manager)
    assert "published values differ" in seen
    seen = page(fleet.manager, "?limit=0.3")
    assert "Enter the standard and edition" in seen
    assert "\u00a0% of the limit" not in seen
    seen = page(fleet.manager, "?limit=0.3&edition=EN+378-1:2016")
    assert "62\u00a0% of the limit, not above it" in seen  # 18.5 kg in 100 m3 against 0.3 kg/m3
    assert "entered on this sheet: EN 378-1:2016" in seen


@pytest.mark.parametrize("query", ["?weighed=-1", "?weighed=x", "?limit=nan&edition=a"])
def test_nonsense_is_told_beside_its_field(fleet: Scene, query: str) -> None:
    assert 'role="alert"' in page(fleet.manager, query)


def test_what_was_weighed_is_compared_with_the_rated_charge(fleet: Scene) -> None:
    assert "+10.0\u00a0% against the rated charge" in page(fleet.manager, "?weighed=20.35")


def test_a_range_is_given_where_the_system_left_its_own_past(fleet: Scene) -> None:
    Standing.objects.filter(system=fleet.system).update(leading="undercharge")
    put_days(fleet.system, YESTERDAY, [5.0] * 25 + [0.5] * 10)
    seen = page(fleet.manager)
    assert "upstream subcooling −4.5\u00a0K" in seen
    assert "the shortage may be larger" in seen


def test_another_suspicion_keeps_it_from_estimating(fleet: Scene) -> None:
    Standing.objects.filter(system=fleet.system).update(leading="sensor_fault")
    put_days(fleet.system, YESTERDAY, [5.0] * 35)
    assert "the data speak of another condition" in page(fleet.manager)


def test_entered_text_is_escaped(fleet: Scene) -> None:
    IndoorUnit.objects.filter(code="A-1").update(room_volume_m3=100.0)
    seen = page(fleet.manager, "?limit=0.3&edition=<script>alert(1)</script>")
    assert "<script>alert" not in seen


def test_few_queries_make_the_sheet(fleet: Scene) -> None:
    browser = signed_in(fleet.manager)
    put_days(fleet.system, YESTERDAY, [5.0] * 35)
    with CaptureQueriesContext(connection) as asked:
        browser.get(SHEET)
    assert len(asked) <= QUERIES, [query["sql"] for query in asked]


def test_building_and_event_tell_a_drift_with_its_date(fleet: Scene) -> None:
    steps = [5.0 + 0.05 * (i % 3) for i in range(25)]
    put_days(fleet.system, YESTERDAY, steps + [5.0 - 0.08 * i for i in range(35)])
    sentence = past.load([fleet.system])[fleet.system.pk].drift_text(Preference())
    assert "comes down to 1\u00a0K about" in sentence
    for address in ("/sites/ferry-hall/", f"/events/{fleet.event.pk}/"):
        assert sentence in scene_text(fleet, address)
    fleet.event.closed_at = fleet.event.last_window + timedelta(days=1)
    fleet.event.save()
    assert sentence not in scene_text(fleet, f"/events/{fleet.event.pk}/")


def test_a_level_that_came_back_is_not_told_as_a_step(fleet: Scene) -> None:
    wave = [0.05 * (i % 3) for i in range(30)]
    put_days(fleet.system, YESTERDAY, [0.3 + it for it in wave] + [5.0 + it for it in wave])
    repaired = past.load([fleet.system])[fleet.system.pk]
    assert repaired.learned
    assert repaired.drift is not None
    assert repaired.drift.kind == "step"
    assert repaired.drift.step_k < -1.0
    assert repaired.drift_text(Preference()) == ""


def test_a_step_on_the_first_days_of_data_is_not_told(fleet: Scene) -> None:
    wave = [0.05 * (i % 3) for i in range(30)]
    put_days(fleet.system, YESTERDAY, [5.0 + it for it in wave] + [9.0 + it for it in wave])
    found = past.load([fleet.system])[fleet.system.pk]
    assert found.drift is not None
    assert found.drift.kind == "step"
    for first, told in ((2, ""), (20, found.drift_text(Preference()))):
        moved = replace(found, drift=replace(found.drift, since=found.day[first]))
        assert moved.drift_text(Preference()) == told


def test_a_step_that_lasts_is_told(fleet: Scene) -> None:
    wave = [0.05 * (i % 3) for i in range(30)]
    put_days(fleet.system, YESTERDAY, [5.0 + it for it in wave] + [9.0 + it for it in wave])
    told = past.load([fleet.system])[fleet.system.pk].drift_text(Preference())
    assert told.startswith("Subcooling rose by 4")


def scene_text(fleet: Scene, address: str) -> str:
    return signed_in(fleet.manager).get(address).content.decode().replace("&#x27;", "'")
