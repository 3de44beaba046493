"""The measurements on site that would tell most."""

from __future__ import annotations

from fleet.models import Event
from fleet.pages.event import settle
from fleet.pages.units import Preference
from tests.pages import scene
from tests.pages.scene import Scene, signed_in

STEP = {
    "do": "Clamp a thermometer",
    "points": ["subcooling below 7 K: no fault, 80%", "subcooling above 7 K: x, 90%"],
    "now": 0.62,
    "then": 0.85,
    "bits": 0.5,
    "changes": 0.3,
}


def test_a_measurement_says_what_which_reading_would_mean() -> None:
    (told,) = settle.steps({"settle": [STEP]}, Preference())
    assert told.do == "Clamp a thermometer."
    assert told.points[0] == "Subcooling below 7\u00a0K: no fault, 80\u00a0%."
    assert told.gain == "Sure to 62\u00a0% now, to about 85\u00a0% after it."
    (told,) = settle.steps({"settle": [STEP]}, Preference(temperature="degF"))
    assert told.points[0] == "Subcooling below 13\u00a0°F: no fault, 80\u00a0%."
    (told,) = settle.steps({"settle": ["To tell both apart: weigh."]}, Preference())
    assert (told.do, told.points, told.gain) == ("To tell both apart: weigh.", (), "")


def test_the_event_page_shows_the_measurements(fleet: Scene) -> None:
    stored = scene.verdict("overcharge", 0.86) | {"settle": [STEP]}
    Event.objects.filter(pk=fleet.event.pk).update(verdict=stored)
    page = signed_in(fleet.technician).get(f"/events/{fleet.event.pk}/").content.decode()
    assert "What one further measurement would tell most" in page
    assert "Subcooling above 7\u00a0K: x, 90\u00a0%." in page
