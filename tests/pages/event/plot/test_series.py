"""The data of an event's plot: who may have them, and that they are the samples."""

from __future__ import annotations

import gzip
from datetime import timedelta
from typing import Any

import numpy as np
import pytest
from django.db import transaction
from django.test import Client as Browser

from diagnostics.channels import INDOOR_BY_NAME, OUTDOOR_BY_NAME
from fleet.models import Event
from fleet.timeseries.store import Block, merge
from tests.pages.scene import CANARY, Scene, signed_in

# Saturated R-32 at 40 degC stands at 2.4783 MPa, at 10 degC at 1.1069 MPa (CoolProp 8).
LEVELS = {
    "compressor_speed": 55.0,
    "discharge_pressure": 2.478_31e6,
    "suction_pressure": 1.106_91e6,
    "discharge_temperature": 348.15,
    "suction_temperature": 288.15,
    "liquid_temperature_outdoor_side": 306.15,
    "liquid_temperature_indoor_side": 296.15,
    "subcooler_valve": 0.35,
    "outdoor_air_temperature": 303.15,
    "evaporating_target": 282.15,
    "reported_state": 1.0,
}
INDOOR = {"demand": 1.0, "call": 1.0, "room_temperature": 297.15, "setpoint": 296.15}


@pytest.fixture
def logged(fleet: Scene) -> Scene:
    """Four hours of steady cooling around the event's peak, every 30 s."""
    start = np.datetime64(fleet.event.peak_at.replace(tzinfo=None) - timedelta(hours=2), "us")
    time = start + np.arange(480) * np.timedelta64(30, "s")
    rng = np.random.default_rng(7)

    def codes(channel: Any, level: float) -> Any:
        noise = rng.normal(0.0, 0.05, time.size) if "temperature" in channel.name else 0.0
        return channel.encode(np.full(time.size, level) + noise)

    block = Block(
        time,
        {name: codes(OUTDOOR_BY_NAME[name], level) for name, level in LEVELS.items()},
        {
            (slot, name): codes(INDOOR_BY_NAME[name], level)
            for slot in (0, 1)
            for name, level in INDOOR.items()
        },
    )
    with transaction.atomic():
        merge(fleet.system.pk, block)
    return fleet


def answer(fleet: Scene, browser: Browser, query: str = "") -> dict[str, Any]:
    got = browser.get(f"/events/{fleet.event.pk}/series.json{query}")
    assert got.status_code == 200
    assert got["Content-Type"] == "application/json"
    assert "private" in got["Cache-Control"]
    data: dict[str, Any] = got.json()
    return data


def last(data: dict[str, Any], name: str) -> float:
    return float([v for v in data["instants"]["values"][name] if v is not None][-1])


def test_cooling_is_drawn_to_indoor_with_the_outdoor_side_counting(logged: Scene) -> None:
    data = answer(logged, signed_in(logged.technician))
    assert "→ to indoor" in [trace["name"] for trace in data["figure"]["data"]]
    assert last(data, "upstream_outdoor_side") == pytest.approx(7.0, abs=0.3)
    assert last(data, "other") == pytest.approx(17.0, abs=0.3)
    assert set(data["instants"]["values"]["upstream_indoor_side"]) == {None}


def test_saturation_temperatures_are_those_of_the_pressures(logged: Scene) -> None:
    data = answer(logged, signed_in(logged.manager))
    assert last(data, "condensing") == pytest.approx(40.0, abs=0.1)
    assert last(data, "evaporating") == pytest.approx(10.0, abs=0.1)
    assert last(data, "speed") == pytest.approx(50.0)
    assert last(data, "pressure") == pytest.approx(2478.31 - 101.325, abs=0.2)


def test_the_numbers_follow_the_readers_units(logged: Scene) -> None:
    browser = signed_in(logged.rep)
    browser.post("/units", {"temperature": "degF", "pressure": "psig"})
    data = answer(logged, browser)
    assert data["units"] == {"temperature": "°F", "difference": "°F", "pressure": "psi gauge"}
    assert last(data, "condensing") == pytest.approx(104.0, abs=0.2)
    assert last(data, "upstream_outdoor_side") == pytest.approx(12.6, abs=0.6)


def test_a_span_without_samples_is_empty_and_says_nothing_false(logged: Scene) -> None:
    data = answer(logged, signed_in(logged.manager), "?on=2025-01-01")
    assert data["instants"]["t"] == []
    assert data["figure"]["data"] == []


def test_an_event_of_a_system_that_never_logged_still_answers(fleet: Scene) -> None:
    assert answer(fleet, signed_in(fleet.manager))["instants"]["t"] == []


def test_the_rep_of_another_client_gets_404(logged: Scene) -> None:
    got = signed_in(logged.outsider).get(f"/events/{logged.event.pk}/series.json")
    assert got.status_code == 404
    assert CANARY not in got.content.decode()


def test_a_technician_without_the_assignment_gets_404(logged: Scene) -> None:
    Event.objects.filter(pk=logged.event.pk).update(assignee=None)
    got = signed_in(logged.technician).get(f"/events/{logged.event.pk}/series.json")
    assert got.status_code == 404


def test_the_plot_is_packed_only_for_browsers_that_unpack(logged: Scene) -> None:
    browser, address = signed_in(logged.technician), f"/events/{logged.event.pk}/series.json"
    plain = browser.get(address)
    packed = browser.get(address, headers={"accept-encoding": "br;q=1, gzip"})
    assert "Content-Encoding" not in plain
    assert packed["Content-Encoding"] == "gzip"
    assert int(packed["Content-Length"]) == len(packed.content) < len(plain.content)
    assert gzip.decompress(packed.content) == plain.content
    assert plain["Vary"] == packed["Vary"]
    assert "Accept-Encoding" in plain["Vary"]
