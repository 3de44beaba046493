"""A day's round: who is near whom, and what the page lets a manager do."""

from __future__ import annotations

from datetime import timedelta

import numpy as np
import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone
from hypothesis import given
from hypothesis import strategies as st

from fleet.models import Event, EventState, Site, System
from fleet.pages.ranking.briefs import Place, SiteBrief, SystemBrief
from fleet.pages.rounds import nearby
from fleet.pages.rounds.nearby import Limits
from tests.pages import scene
from tests.pages.scene import CANARY, Scene, signed_in

QUERIES = 9


def site(pk: int, place: tuple[float, float] | None, region: str = "") -> SiteBrief:
    lat, lon = place or (None, None)
    where = Place(pk, f"s-{pk}", f"Site {pk}", "c", "Client", region, "Europe/Lisbon", lat, lon)
    quiet = {"urgent": False, "events": ()}
    return SiteBrief(where, (SystemBrief(pk, "R1", 50.0, "overcharge", 0.9, **quiet),), 50.0)


def test_distances_are_those_published() -> None:
    # London Heathrow to Paris Charles de Gaulle, 348 km by airport tables (from memory); and a
    # quarter of the sphere by its definition.
    paris = nearby.distance_km(np.array([49.0097]), np.array([2.5479]), (51.4700, -0.4543))
    assert paris[0] == pytest.approx(348, abs=2)
    quarter = nearby.distance_km(np.array([90.0]), np.array([0.0]), (0.0, 50.0))
    assert quarter[0] == pytest.approx(np.pi / 2 * nearby.EARTH_KM)


def test_a_round_takes_the_nearest_next_and_stops_where_nobody_is_near() -> None:
    sites = [site(1, (51.50, 0.0)), site(2, (51.60, 0.0)), site(3, (51.52, 0.0)), site(4, (55, 0))]
    first, second = nearby.rounds(sites, Limits(stops=5, reach_km=30))
    assert [stop.site.site.pk for stop in first.stops] == [1, 3, 2]
    assert first.km == pytest.approx(0.1 * np.pi / 180 * nearby.EARTH_KM, rel=1e-6)
    assert [stop.site.site.pk for stop in second.stops] == [4]
    assert second.km is None


def test_a_round_reaches_over_the_date_line() -> None:
    sites = [site(1, (-17.0, 179.95)), site(2, (-17.0, -179.95))]
    (only,) = nearby.rounds(sites, Limits())
    assert only.km == pytest.approx(10.6, abs=0.1)
    drawn = nearby.drawn(only)
    assert drawn is not None
    assert drawn.dots[0].x < drawn.dots[1].x  # the second lies to the east


def test_places_nobody_gave_are_grouped_by_region() -> None:
    sites = [site(1, None, "North"), site(2, None, "South"), site(3, None, "North")]
    rounds = nearby.rounds(sites, Limits())
    assert [[stop.site.site.pk for stop in it.stops] for it in rounds] == [[1, 3], [2]]
    assert nearby.drawn(rounds[0]) is None


places = st.one_of(
    st.none(), st.tuples(st.floats(-89, 89), st.floats(-180, 180)), st.just((51.5, 0.0))
)


@given(st.lists(places, max_size=25), st.integers(1, 6), st.floats(0.1, 20_000))
def test_every_building_is_in_one_round_and_no_round_is_too_long(
    given_places: list[tuple[float, float] | None], stops: int, reach_km: float
) -> None:
    sites = [site(i, place) for i, place in enumerate(given_places)]
    rounds = nearby.rounds(sites, Limits(stops, reach_km))
    visited = [stop.site.site.pk for it in rounds for stop in it.stops]
    assert sorted(visited) == list(range(len(sites)))
    assert all(len(it.stops) <= stops for it in rounds)
    legs = [stop.leg_km for it in rounds for stop in it.stops if stop.leg_km is not None]
    assert all(leg <= reach_km + 1e-6 for leg in legs)
    for it in rounds:
        drawn = nearby.drawn(it)
        for dot in drawn.dots if drawn else ():
            assert 0 <= dot.x <= nearby.WIDTH
            assert 0 <= dot.y <= nearby.HEIGHT


def neighbour(fleet: Scene, code: str, north_deg: float) -> Event:
    """Another building of the watched client with an open event."""
    made = Site.objects.create(
        client=fleet.client,
        code=code,
        name=f"{CANARY} {code}",
        timezone="Europe/Lisbon",
        latitude_deg=38.7 + north_deg,
        longitude_deg=-9.1,
    )
    system = scene.system(made)
    scene.stand(system, "undercharge", 0.8, 70.0)
    return scene.open_event(system, "undercharge")


def test_a_manager_plans_a_round_and_the_stops_leave_the_list(fleet: Scene) -> None:
    Site.objects.filter(pk=fleet.site.pk).update(latitude_deg=38.7, longitude_deg=-9.1)
    near, far = neighbour(fleet, "near", 0.05), neighbour(fleet, "far", 3.0)
    browser = signed_in(fleet.manager)
    seen = browser.get("/rounds/").content.decode()
    assert "2 stops, about 6 km as the crow flies" in seen
    assert seen.count('class="round-map"') == 1
    day = timezone.now().date() + timedelta(days=2)
    sent = {"event": [fleet.event.pk, near.pk], "assignee": fleet.technician.pk, "day": day}
    answer = browser.post("/events/together", sent | {"do": "send", "next": "/rounds/"})
    assert answer["Location"] == "/rounds/"
    for event in (fleet.event, near):
        event.refresh_from_db()
        assert (event.assignee, event.visit_planned_on) == (fleet.technician, day)
        assert event.state == EventState.ACKNOWLEDGED_ACTIVE
        assert f"visit planned on {day}" in event.changes.get().what
    left = browser.get("/rounds/").content.decode()
    assert f"{CANARY} near" not in left
    assert f"/events/{far.pk}/" in left
    assert f"tess goes on {day:%a} {day.day} {day:%b}" in browser.get("/").content.decode()


def test_where_a_building_is_is_kept_whole_or_not_at_all(fleet: Scene) -> None:
    browser = signed_in(fleet.manager)
    half = {"region": "Lisbon", "latitude_deg": "38.7", "longitude_deg": ""}
    seen = browser.post("/sites/ferry-hall/place", half, follow=True).content.decode()
    assert "Give latitude and longitude, or neither." in seen
    browser.post("/sites/ferry-hall/place", half | {"longitude_deg": "-9.1"})
    fleet.site.refresh_from_db()
    assert (fleet.site.region, fleet.site.latitude_deg, fleet.site.longitude_deg) == (
        "Lisbon",
        38.7,
        -9.1,
    )
    signed_in(fleet.rep).post("/sites/ferry-hall/place", half | {"region": "Elsewhere"})
    fleet.site.refresh_from_db()
    assert fleet.site.region == "Lisbon"


def test_rounds_show_nobody_elses_buildings(fleet: Scene) -> None:
    scene.stand(scene.system(fleet.other_site, "R8"), "overcharge", 0.9, 80.0)
    assert CANARY not in signed_in(fleet.outsider).get("/rounds/").content.decode()


def test_the_number_of_queries_does_not_grow_with_the_fleet(fleet: Scene) -> None:
    browser = signed_in(fleet.manager)
    with CaptureQueriesContext(connection) as few:
        browser.get("/rounds/")
    for i in range(20):
        neighbour(fleet, f"n-{i}", i / 100)
    with CaptureQueriesContext(connection) as many:
        browser.get("/rounds/")
    assert len(many) == len(few) <= QUERIES, [query["sql"] for query in many]
    assert System.objects.count() > 20
