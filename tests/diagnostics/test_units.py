"""Conversions at the door, against definitions and published tables."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from diagnostics import units
from diagnostics.channels import (
    INDOOR,
    INDOOR_BY_NAME,
    OUTDOOR,
    OUTDOOR_BY_NAME,
    Channel,
    Quantity,
)
from tests.diagnostics.record import plant

DISCHARGE = OUTDOOR_BY_NAME["discharge_pressure"]
SPEED = OUTDOOR_BY_NAME["compressor_speed"]
SUBCOOLER_VALVE = OUTDOOR_BY_NAME["subcooler_valve"]
AIR = OUTDOOR_BY_NAME["outdoor_air_temperature"]


def inside(channel: Channel, unit: str | None, value: float, **changes: float) -> float:
    system = dataclasses.replace(plant(), **changes)
    return float(units.to_inside(channel, unit, np.array([value], dtype=float), system)[0])


# International table of factors: NIST Special Publication 811 (2008), appendix B.8.
@pytest.mark.parametrize(
    ("unit", "value", "pascal"),
    [
        ("kPa(a)", 2500.0, 2.5e6),
        ("bar(a)", 25.0, 2.5e6),
        ("MPa(a)", 2.5, 2.5e6),
        ("psia", 1.0, 6894.757),
        ("kPa(g)", 0.0, 101_325.0),
        ("bar(g)", 10.0, 1_101_325.0),
        ("MPa(g)", 1.0, 1_101_325.0),
        ("psig", 0.0, 101_325.0),
    ],
)
def test_pressures_reach_absolute_pascal(unit: str, value: float, pascal: float) -> None:
    assert inside(DISCHARGE, unit, value) == pytest.approx(pascal, rel=1e-7)


@pytest.mark.parametrize("unit", ["kPa(g)", "bar(g)", "MPa(g)", "psig"])
def test_gauge_pressure_counts_from_the_atmosphere_of_the_site(unit: str) -> None:
    high_up = inside(DISCHARGE, unit, 0.0, atmospheric_pressure_pa=84_556.0)
    assert high_up == pytest.approx(84_556.0)


@pytest.mark.parametrize(
    ("unit", "value", "kelvin"),
    [("degC", 0.0, 273.15), ("degF", 32.0, 273.15), ("degF", 212.0, 373.15), ("K", 300.0, 300.0)],
)
def test_temperatures_reach_kelvin(unit: str, value: float, kelvin: float) -> None:
    assert inside(AIR, unit, value) == pytest.approx(kelvin)


def test_speeds_reach_revolutions_per_second() -> None:
    assert inside(SPEED, "rps", 60.0) == 60.0
    assert inside(SPEED, "rpm", 3600.0) == pytest.approx(60.0)
    assert inside(SPEED, "%", 50.0) == pytest.approx(55.0)
    # Two pole pairs: 120 Hz electrical turn the shaft 60 times a second.
    assert inside(SPEED, "Hz", 120.0, motor_pole_pairs=2) == pytest.approx(60.0)


def test_openings_reach_a_fraction_of_full_travel() -> None:
    assert inside(SUBCOOLER_VALVE, "%", 25.0) == pytest.approx(0.25)
    assert inside(SUBCOOLER_VALVE, "pulses", 120.0) == pytest.approx(0.25)
    assert inside(SUBCOOLER_VALVE, "pulses", 500.0, subcooler_valve_full_pulses=2000.0) == 0.25
    for channel in (OUTDOOR_BY_NAME["outdoor_valve"], INDOOR_BY_NAME["valve"]):
        assert inside(channel, "pulses", 240.0, subcooler_valve_full_pulses=2000.0) == 0.12


def test_hertz_without_pole_pairs_is_refused_with_the_remedy() -> None:
    with pytest.raises(units.UnitError, match="set motor_pole_pairs in the manifest") as caught:
        inside(SPEED, "Hz", 120.0)
    assert str(caught.value).startswith("compressor_speed: ")


@pytest.mark.parametrize(
    ("unit", "remedy"),
    [
        ("kPa", r"kPa\(g\) or kPa\(a\)"),
        ("bar", r"bar\(g\) or bar\(a\)"),
        ("MPa", r"MPa\(g\) or MPa\(a\)"),
        ("psi", "psig or psia"),
    ],
)
def test_pressure_that_says_neither_gauge_nor_absolute_is_refused(unit: str, remedy: str) -> None:
    with pytest.raises(units.UnitError, match=f"gauge or absolute: write {remedy}"):
        inside(DISCHARGE, unit, 25.0)


def test_an_unknown_unit_is_refused_with_those_accepted() -> None:
    with pytest.raises(units.UnitError, match=r"unknown unit \[furlong\]; accepted: degC, degF, K"):
        inside(AIR, "furlong", 1.0)
    with pytest.raises(units.UnitError, match="write it as outdoor_air_temperature \\[degC\\]"):
        inside(AIR, None, 1.0)


def test_a_channel_that_stands_alone_takes_no_unit() -> None:
    demand = INDOOR_BY_NAME["demand"]
    assert inside(demand, None, 1.0) == 1.0
    assert inside(demand, "", 1.0) == 1.0
    with pytest.raises(units.UnitError, match="stands without a unit"):
        inside(demand, "kW", 1.0)


def test_every_channel_accepts_exactly_the_units_agreed() -> None:
    agreed = {
        Quantity.SPEED: {"rps", "rpm", "Hz", "%"},
        Quantity.PRESSURE: {
            *("kPa(a)", "kPa(g)", "bar(a)", "bar(g)", "MPa(a)", "MPa(g)", "psia", "psig")
        },
        Quantity.TEMPERATURE: {"degC", "degF", "K"},
        Quantity.OPENING: {"pulses", "%"},
        Quantity.FLAG: set(),
        Quantity.CHOICE: set(),
    }
    for channel in OUTDOOR + INDOOR:
        assert set(units.accepted_units(channel.quantity)) == agreed[channel.quantity]


@given(value=st.floats(200.0, 4500.0), unit=st.sampled_from(["kPa(g)", "bar(g)", "MPa(g)", "psig"]))
def test_pressure_said_in_any_unit_comes_back_the_same(value: float, unit: str) -> None:
    atmosphere = 95_000.0
    pascal = np.array([value * 1e3])
    said = units.pressure_from_pa(pascal, unit, atmosphere)
    back = inside(DISCHARGE, unit, float(said[0]), atmospheric_pressure_pa=atmosphere)
    assert back == pytest.approx(pascal[0], rel=1e-12)


@given(celsius=st.floats(-50.0, 100.0), drop_k=st.floats(-30.0, 30.0))
def test_a_temperature_difference_shifts_no_zero(celsius: float, drop_k: float) -> None:
    warm, cold = np.array([celsius + 273.15]), np.array([celsius - drop_k + 273.15])
    difference = units.temperature_from_k(warm, "degF") - units.temperature_from_k(cold, "degF")
    direct = units.temperature_difference_from_k(np.array([drop_k]), "degF")
    assert direct == pytest.approx(difference, abs=1e-9)


@given(celsius=st.floats(-50.0, 100.0))
def test_the_same_temperature_in_two_units_meets_on_one_stored_code(celsius: float) -> None:
    celsius = round(celsius, 2)
    fahrenheit = round(celsius * 1.8 + 32, 4)
    codes = [
        AIR.encode(np.array([inside(AIR, unit, value)]))[0]
        for unit, value in (("degC", celsius), ("degF", fahrenheit))
        if AIR.low <= inside(AIR, unit, value) <= AIR.high
    ]
    assert len(set(codes)) <= 1


def test_display_units() -> None:
    # 80 degF outside the subcooler and 70 degF behind it: 10 degF is 5.6 K (common practice).
    assert units.temperature_difference_from_k(np.array([5.5556]), "degF") == pytest.approx(
        10, 1e-4
    )
    assert units.temperature_from_k(np.array([300.0]), "degC") == pytest.approx(26.85)
    # NIST SP 811, B.8: 1 lb = 0.453 592 37 kg.
    assert units.mass_from_kg(np.array([0.45359237]), "lb") == pytest.approx(1.0)
    assert units.mass_from_kg(np.array([3.0]), "kg") == pytest.approx(3.0)


@pytest.mark.parametrize(
    ("convert", "message"),
    [
        (lambda: units.temperature_from_k(np.zeros(1), "R"), r"temperature: unknown unit \[R\]"),
        (lambda: units.temperature_difference_from_k(np.zeros(1), "degC"), "accepted: K, degF"),
        (
            lambda: units.pressure_from_pa(np.zeros(1), "psi", 0.0),
            r"pressure: unknown unit \[psi\]",
        ),
        (lambda: units.mass_from_kg(np.zeros(1), "oz"), "accepted: kg, lb"),
    ],
)
def test_a_page_cannot_ask_for_an_unknown_unit(convert: Callable[[], object], message: str) -> None:
    with pytest.raises(units.UnitError, match=message):
        convert()


# U.S. Standard Atmosphere 1976, identical with ISO 2533:1975 here: geopotential altitude, pressure.
# 11 000 m is the base of a layer (22 632.1 Pa in its defining table), 1 000 m a published example.
@pytest.mark.parametrize(
    ("altitude_m", "pascal"), [(0, 101_325.0), (1000, 89_875.0), (11_000, 22_632.1)]
)
def test_the_atmosphere_thins_with_altitude_as_published(altitude_m: float, pascal: float) -> None:
    assert units.atmospheric_pressure_pa(altitude_m) == pytest.approx(pascal, rel=1e-5)


def test_missing_values_stay_missing() -> None:
    for channel in OUTDOOR:
        unit = next(iter(units.accepted_units(channel.quantity)), None)
        said = np.array([np.nan, 1.0])
        out = units.to_inside(channel, unit, said, plant())
        assert np.isnan(out).tolist() == [True, False]


@pytest.mark.parametrize("unit", ["kPa", "bar", "psi"])
def test_a_temperature_in_a_unit_of_pressure_is_not_asked_whether_it_is_gauge(unit: str) -> None:
    with pytest.raises(units.UnitError, match=rf"unknown unit \[{unit}\]; accepted: degC"):
        inside(AIR, unit, 20.0)
