"""One building, and whether it is getting better."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from diagnostics.analyse import METHOD_VERSION
from diagnostics.windows import FEATURES, INDEX
from fleet.models import Event, IndoorUnit, Site, Standing, System, Window
from fleet.pages.building import history
from tests.pages import scene
from tests.pages.scene import CANARY, Scene, signed_in

QUERIES = 12


def page(user: scene.User, code: str = "ferry-hall") -> str:
    answer = signed_in(user).get(f"/sites/{code}/")
    assert answer.status_code == 200
    return answer.content.decode()


def put_windows(system: System, first: datetime, subcooling_k: list[float]) -> None:
    """One window a day at noon UTC, with the subcooling given."""
    for i, value in enumerate(subcooling_k):
        features = np.full(len(FEATURES), np.nan)
        for name, seconds in (("logged_s", 900.0), ("running_s", 900.0), ("to_indoor_s", 900.0)):
            features[INDEX[name]] = seconds
        features[INDEX["judged_s"]] = 450.0
        features[INDEX["subcooling_to_indoor_k"]] = value
        Window.objects.create(
            system=system,
            start=first + timedelta(days=i),
            method_version=METHOD_VERSION,
            features=features.tolist(),
        )


def test_manager_and_the_clients_rep_see_standing_units_and_events(fleet: Scene) -> None:
    for user in (fleet.manager, fleet.rep):
        seen = page(user)
        assert "Too much refrigerant" in seen
        assert f"{CANARY} hall" in seen
        assert "45.0 kW cooling" in seen
        assert f"/events/{fleet.event.pk}/" in seen


def test_the_technician_sees_the_site_of_the_assigned_event_only(fleet: Scene) -> None:
    assert CANARY in page(fleet.technician)
    assert signed_in(fleet.technician).get("/sites/mill-lane/").status_code == 404


def test_the_technician_sees_only_the_assigned_systems_of_a_site(fleet: Scene) -> None:
    scene.stand(scene.system(fleet.site, "north-annex"), "undercharge", 0.7, 60.0)
    assert "north-annex" in page(fleet.manager)
    assert "north-annex" not in page(fleet.technician)


def test_the_rep_of_another_client_gets_404_and_no_name(fleet: Scene) -> None:
    answer = signed_in(fleet.outsider).get("/sites/ferry-hall/")
    assert answer.status_code == 404
    assert CANARY not in answer.content.decode()


def test_fewer_events_than_four_weeks_ago_are_told_as_numbers(fleet: Scene) -> None:
    now = timezone.now()
    put_windows(fleet.system, now - timedelta(days=40), [5.0])
    Event.objects.filter(pk=fleet.event.pk).update(
        opened_at=now - timedelta(days=35), closed_at=now - timedelta(days=3)
    )
    assert "Suspicions open: 0 now, fewer than the 1 of four weeks ago." in page(fleet.rep)


def test_without_old_data_no_comparison_is_made(fleet: Scene) -> None:
    put_windows(fleet.system, timezone.now() - timedelta(days=5), [5.0])
    assert "no data from four weeks ago to compare with" in page(fleet.rep)


def test_the_history_is_drawn_and_two_weeks_are_compared(fleet: Scene) -> None:
    noon = timezone.now().replace(hour=12, minute=0, second=0, microsecond=0)
    noon -= timedelta(days=1)
    Standing.objects.filter(system=fleet.system).update(last_sample=noon)
    put_windows(fleet.system, noon - timedelta(days=13), [12.0] * 7 + [10.0] * 7)
    seen = page(fleet.manager)
    assert 'class="history"' in seen
    assert seen.count('class="to-indoor"') == 14
    assert "10.0\u00a0K with liquid to the rooms in the last 7 days, 12.0\u00a0K" in seen
    assert "dashed: 5.0\u00a0K expected" in seen


def test_days_without_data_are_drawn_as_holes(fleet: Scene) -> None:
    noon = timezone.now().replace(hour=12, minute=0, second=0, microsecond=0)
    put_windows(fleet.system, noon - timedelta(days=9), [5.0])
    put_windows(fleet.system, noon - timedelta(days=1), [5.0])
    assert page(fleet.manager).count('class="cover-none"') >= 7


def test_windows_are_put_into_the_buildings_own_days(fleet: Scene) -> None:
    zone = fleet.other_site.zone  # three and a half hours behind UTC in winter
    system = fleet.other_site.systems.get()
    put_windows(system, datetime(2026, 1, 5, 3, 0, tzinfo=UTC), [7.0])
    days = history.daily([system], zone, datetime(2026, 1, 1, tzinfo=UTC))[system.pk]
    assert [day.day.isoformat() for day in days] == ["2026-01-04"]
    assert days[0].to_indoor_k == pytest.approx(7.0)
    assert days[0].coverage == pytest.approx(0.5)


def test_windows_of_an_older_method_are_not_misread(fleet: Scene) -> None:
    start = datetime(2026, 1, 5, 12, tzinfo=UTC)
    put_windows(fleet.system, start, [7.0])
    Window.objects.update(method_version=METHOD_VERSION - 1)
    assert not history.daily([fleet.system], fleet.site.zone, datetime(2026, 1, 1, tzinfo=UTC))


def test_a_window_without_a_value_does_not_spoil_its_days_mean(fleet: Scene) -> None:
    start = datetime(2026, 1, 5, 12, tzinfo=UTC)
    put_windows(fleet.system, start, [7.0])
    put_windows(fleet.system, start + timedelta(minutes=15), [float("nan")])
    days = history.daily([fleet.system], fleet.site.zone, datetime(2026, 1, 1, tzinfo=UTC))
    assert days[fleet.system.pk][0].to_indoor_k == pytest.approx(7.0)


def test_fahrenheit_readers_get_differences_without_an_offset(fleet: Scene) -> None:
    browser = signed_in(fleet.manager)
    browser.post("/units", {"temperature": "degF", "pressure": "psig", "next": "/"})
    seen = browser.get("/sites/ferry-hall/").content.decode()
    assert "subcooling is 22\u00a0°F, expected 9\u00a0°F" in seen.lower().replace("°f", "°F")


def test_old_events_are_kept_behind_the_recent_ones(fleet: Scene) -> None:
    for i in range(9):
        made = scene.open_event(fleet.system, "undercharge")
        opened = made.opened_at - timedelta(days=10 + i)
        Event.objects.filter(pk=made.pk).update(
            opened_at=opened, closed_at=opened + timedelta(days=1)
        )
    seen = page(fleet.manager)
    assert "<summary>Events (10)</summary>" in seen
    assert "<summary>4 older</summary>" in seen
    assert seen.index(f"/events/{fleet.event.pk}/") < seen.index("4 older")


def test_hostile_names_are_escaped(fleet: Scene) -> None:
    Site.objects.filter(pk=fleet.site.pk).update(name="<script>alert(1)</script>")
    IndoorUnit.objects.filter(system=fleet.system).update(room="<img src=x onerror=alert(1)>")
    seen = page(fleet.manager)
    assert "<script>alert" not in seen
    assert "<img src=x" not in seen


def test_the_number_of_queries_does_not_grow_with_systems_and_events(fleet: Scene) -> None:
    browser = signed_in(fleet.manager)
    with CaptureQueriesContext(connection) as few:
        browser.get("/sites/ferry-hall/")
    for i in range(8):
        made = scene.system(fleet.site, f"X{i}")
        scene.stand(made, "overcharge", 0.7, 50.0 + i)
        Event.objects.filter(pk=scene.open_event(made).pk).update(assignee=fleet.technician)
    with CaptureQueriesContext(connection) as many:
        browser.get("/sites/ferry-hall/")
    assert len(many) == len(few) <= QUERIES, [query["sql"] for query in many]
