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
