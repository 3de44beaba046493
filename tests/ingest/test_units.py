"""The unit of a file never changes the code that is stored."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from diagnostics.channels import EMPTY, INDOOR, OUTDOOR, OUTDOOR_BY_NAME, Channel
from tests.ingest.building import PLANT, parsed


def one_code(channel: Channel, unit: str, text: str) -> int:
    """The code that one cell comes to."""
    found = parsed(f"time,{channel.name} [{unit}]", f"2026-01-05T14:00:00Z,{text}")
    return int(found.block.outdoor[channel.name][0])


def decimal(value: float) -> str:
    """A value as a logger writes it, with more digits than any unit needs."""
    return f"{value:.12f}"


@given(celsius=st.integers(-4000, 17_900))
@settings(max_examples=60, deadline=None)
def test_the_unit_of_a_temperature_never_changes_the_code(celsius: int) -> None:
    channel, value = OUTDOOR_BY_NAME["discharge_temperature"], celsius / 100
    codes = {
        one_code(channel, "degC", decimal(value)),
        one_code(channel, "K", decimal(value + 273.15)),
        one_code(channel, "degF", decimal(value * 9 / 5 + 32)),
    }
    assert codes == {celsius}


@given(kilopascal=st.integers(1_050, 59_000))
@settings(max_examples=60, deadline=None)
def test_the_unit_of_a_pressure_never_changes_the_code(kilopascal: int) -> None:
    channel, pascal = OUTDOOR_BY_NAME["discharge_pressure"], kilopascal * 100.0
    local = PLANT.atmospheric_pressure_pa
    psi = 6_894.757_293_168_361  # BIPM/NIST SP 811, appendix B.8: 6.894 757 E+03
    codes = {
        one_code(channel, "kPa(a)", decimal(pascal / 1e3)),
        one_code(channel, "kPa(g)", decimal((pascal - local) / 1e3)),
        one_code(channel, "bar(a)", decimal(pascal / 1e5)),
        one_code(channel, "bar(g)", decimal((pascal - local) / 1e5)),
        one_code(channel, "MPa(a)", decimal(pascal / 1e6)),
        one_code(channel, "MPa(g)", decimal((pascal - local) / 1e6)),
        one_code(channel, "psia", decimal(pascal / psi)),
        one_code(channel, "psig", decimal((pascal - local) / psi)),
    }
    assert codes == {int(channel.encode(np.array([pascal]))[0])}


@given(rpm=st.integers(0, 6_600))
@settings(max_examples=40, deadline=None)
def test_the_unit_of_a_speed_never_changes_the_code(rpm: int) -> None:
    channel = OUTDOOR_BY_NAME["compressor_speed"]
    codes = {
        one_code(channel, "rpm", decimal(rpm)),
        one_code(channel, "rps", decimal(rpm / 60)),
        one_code(channel, "Hz", decimal(rpm / 60 * 2)),
        one_code(channel, "%", decimal(rpm / 60 / 110 * 100)),
    }
    assert len(codes) == 1


@pytest.mark.parametrize("unit", ["kPa(a)", "bar(a)", "MPa(a)", "psia"])
def test_the_edge_of_the_range_is_inside_in_every_unit(unit: str) -> None:
    channel = OUTDOOR_BY_NAME["discharge_pressure"]
    scale = {"kPa(a)": 1e3, "bar(a)": 1e5, "MPa(a)": 1e6, "psia": 6_894.757_293_168_361}[unit]
    for edge in (channel.low, channel.high):
        assert one_code(channel, unit, decimal(edge / scale)) != EMPTY
    assert one_code(channel, unit, decimal((channel.high + 200) / scale)) == EMPTY


def test_no_sane_value_comes_to_the_code_for_empty() -> None:
    for channel in (*OUTDOOR, *INDOOR):
        codes = channel.encode(np.array([channel.low, channel.high]))
        assert (codes > EMPTY).all(), channel.name
