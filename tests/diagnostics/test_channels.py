"""Codes in which values are stored: what they mean may never change under stored data."""

from __future__ import annotations

import numpy as np
import pytest

from diagnostics.channels import CALLS, EMPTY, INDOOR, OUTDOOR, STATES, Channel, Quantity

CHANNELS = {channel.name: channel for channel in (*OUTDOOR, *INDOOR)}
STORED = {
    Quantity.TEMPERATURE: [(273.15, 0), (293.15, 2000), (253.16, -1999)],
    Quantity.PRESSURE: [(3.2e6, 0), (3.3e6, 1000), (0.9e6, -23_000)],
    Quantity.SPEED: [(0.0, 0), (60.0, 6000)],
    Quantity.FLAG: [(0.0, 0), (1.0, 1)],
}
"""Hundredths of a kelvin from 0 degC, 100 Pa from 3.2 MPa, hundredths of a turn a second."""


@pytest.mark.parametrize("name", CHANNELS)
def test_the_whole_range_fits_its_code_and_comes_back(name: str) -> None:
    channel = CHANNELS[name]
    assert channel.low < channel.high
    ends = np.array([channel.low, channel.high, np.nan])
    codes = channel.encode(ends)
    assert codes.tolist()[2] == EMPTY
    assert EMPTY not in codes.tolist()[:2]
    np.testing.assert_allclose(channel.decode(codes), ends, atol=channel.quantum / 2)


@pytest.mark.parametrize("name", CHANNELS)
def test_stored_codes_keep_their_meaning(name: str) -> None:
    channel = CHANNELS[name]
    for value, code in STORED.get(channel.quantity, []):
        assert channel.encode(np.array([value])).tolist() == [code]
        assert channel.decode(np.array([code], np.int16)) == pytest.approx(value)


@pytest.mark.parametrize(("name", "code"), [("subcooler_valve", 24_000), ("valve", 4_800)])
def test_openings_are_stored_in_parts_of_full_travel(name: str, code: int) -> None:
    assert CHANNELS[name].encode(np.array([1.0])).tolist() == [code]


@pytest.mark.parametrize(("name", "words"), [("reported_state", STATES), ("call", CALLS)])
def test_words_are_stored_as_their_place(name: str, words: tuple[str, ...]) -> None:
    channel: Channel = CHANNELS[name]
    assert channel.choices == words
    places = np.arange(len(words), dtype=float)
    assert channel.encode(places).tolist() == list(range(len(words)))
    assert (channel.low, channel.high) == (0, len(words) - 1)


@pytest.mark.parametrize(
    ("name", "shown", "impossible"),
    [
        # Trade ranges, from memory: what systems show at the ends of their use in degC.
        ("discharge_temperature", (-25, 20, 95, 150), (-80, 260)),
        ("suction_temperature", (-45, 5, 40, 70), (-120, 200)),
        ("liquid_temperature_outdoor_side", (-30, 10, 45, 75), (-120, 200)),
        ("liquid_temperature_indoor_side", (-30, 10, 45, 75), (-120, 200)),
        ("subcooler_gas_temperature", (-40, 0, 50, 80), (-120, 200)),
        # Coldest and hottest air in which people live: -40 to 55 degC.
        ("outdoor_air_temperature", (-40, 0, 35, 55), (-100, 120)),
        ("outdoor_coil_temperature", (-45, 0, 55, 75), (-120, 180)),
        ("evaporating_target", (-30, 3, 11, 25), (-100, 90)),
        ("condensing_target", (15, 42, 50, 65), (-60, 160)),
        ("room_temperature", (-5, 10, 24, 45), (-90, 120)),
        ("setpoint", (10, 16, 30), (-60, 90)),
        ("liquid_pipe_temperature", (-25, 5, 45, 75), (-120, 200)),
        ("gas_pipe_temperature", (-25, 10, 80, 110), (-120, 250)),
    ],
)
def test_a_temperature_may_be_what_systems_show_and_not_what_none_can(
    name: str, shown: tuple[float, ...], impossible: tuple[float, ...]
) -> None:
    channel = CHANNELS[name]
    for value in shown:
        assert channel.low <= value + 273.15 <= channel.high, value
    for value in impossible:
        assert not channel.low <= value + 273.15 <= channel.high, value


@pytest.mark.parametrize(
    ("name", "shown_mpa", "impossible_mpa"),
    [
        # R-410A between -40 and 65 degC: 0.18 to 4.3 MPa; nothing is emptier than a vacuum pump's.
        ("discharge_pressure", (0.18, 2.5, 4.3), (0.0, 9.0)),
        ("suction_pressure", (0.1, 0.8, 2.5), (0.0, 9.0)),
    ],
)
def test_a_pressure_may_be_what_systems_show_and_not_what_none_can(
    name: str, shown_mpa: tuple[float, ...], impossible_mpa: tuple[float, ...]
) -> None:
    channel = CHANNELS[name]
    for value in shown_mpa:
        assert channel.low <= value * 1e6 <= channel.high
    for value in impossible_mpa:
        assert not channel.low <= value * 1e6 <= channel.high


def test_speeds_and_openings_begin_at_rest() -> None:
    """A two-pole motor at 400 Hz would turn 200 times a second; none here does 400."""
    speed = CHANNELS["compressor_speed"]
    assert speed.low == 0.0
    assert 140.0 < speed.high < 400.0
    assert (CHANNELS["subcooler_valve"].low, CHANNELS["subcooler_valve"].high) == (0.0, 1.0)
    # 3000 pulses of another make's valve over the subcooler's 480.
    for name in ("valve", "outdoor_valve"):
        assert CHANNELS[name].low == 0.0
        assert 3000 / 480 < CHANNELS[name].high < 10.0


def test_a_code_is_a_whole_number_of_quanta_and_nothing_between() -> None:
    """Two texts of one value in different units meet: 68.54 degF is 20.3 degC."""
    channel = CHANNELS["room_temperature"]
    fahrenheit = np.array([(68.54 + 459.67) * 5 / 9])
    assert channel.encode(fahrenheit).tolist() == channel.encode(np.array([293.45])).tolist()
    assert channel.encode(np.array([293.154, 293.156])).tolist() == [2000, 2001]
    assert channel.decode(np.array([2030, -32768], np.int16)).tolist()[0] == pytest.approx(293.45)
    assert np.isnan(channel.decode(np.array([-32768], np.int16))).all()
