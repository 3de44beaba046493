"""What rooms ask, and how far they are from it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from diagnostics.plant import IndoorUnit, Plant
from diagnostics.samples import FloatArray
from diagnostics.signals import demand
from diagnostics.signals.demand import Demand
from diagnostics.signals.state import State
from tests.diagnostics import made, record

COOL, HEAT, FAN, OFF = (float(record.call(name)[0]) for name in ("cool", "heat", "fan", "off"))


def plant(*capacities_w: float) -> Plant:
    """Indoor units of these capacities."""
    units = tuple(IndoorUnit(f"A-{i}", w) for i, w in enumerate(capacities_w))
    return replace(record.plant(), indoor=units)


def compare(indoor: dict[str, list[float]], capacities: tuple[float, ...], n: int = 60) -> Demand:
    """Demand with one constant value per unit and channel."""
    rows = {k: np.repeat(np.array(v)[:, None], n, axis=1) for k, v in indoor.items()}
    return compare_rows(rows, capacities)


def compare_rows(
    rows: dict[str, FloatArray], capacities: tuple[float, ...], code: State = State.COOLING
) -> Demand:
    """Demand with rows over time."""
    n = next(iter(rows.values())).shape[1]
    samples = record.running(n, indoor=rows)
    return demand.compare(samples, made.states(n, code), plant(*capacities))


def test_shares_are_weighed_by_capacity() -> None:
    found = compare({"demand": [1, 0], "call": [COOL, COOL]}, (9000.0, 3000.0))
    assert found.share[0] == pytest.approx(0.75)


def test_heating_and_cooling_both_ask() -> None:
    found = compare({"demand": [1, 1], "call": [COOL, HEAT]}, (5000.0, 5000.0))
    assert found.share[0] == 1.0


def test_only_the_wrong_side_of_the_setpoint_counts() -> None:
    """A cooled room 2 K too warm and one 1 K too cold: 2 K and 0 K, weighed by capacity."""
    found = compare(
        {
            "demand": [1, 1],
            "call": [COOL, COOL],
            "room_temperature": [299.15, 296.15],
            "setpoint": [297.15, 297.15],
        },
        (6000.0, 2000.0),
    )
    assert found.shortfall_k[0] == pytest.approx(1.5)


def test_a_heated_room_is_short_when_it_is_cold() -> None:
    found = compare(
        {"demand": [1], "call": [HEAT], "room_temperature": [291.15], "setpoint": [294.15]},
        (6000.0,),
    )
    assert found.shortfall_k[0] == pytest.approx(3.0)


def test_rooms_that_do_not_ask_are_not_short() -> None:
    found = compare(
        {"demand": [0], "call": [OFF], "room_temperature": [303.15], "setpoint": [297.15]},
        (6000.0,),
    )
    assert found.share[0] == 0.0
    assert np.isnan(found.shortfall_k[0])


def test_without_room_data_the_shortfall_is_not_told() -> None:
    found = compare({"demand": [1], "call": [COOL]}, (6000.0,))
    assert np.all(np.isnan(found.shortfall_k))
    assert found.share[0] == 1.0


def test_without_a_demand_channel_the_call_asks() -> None:
    found = compare({"call": [COOL, FAN, OFF]}, (4000.0, 4000.0, 2000.0))
    assert found.share[0] == pytest.approx(0.4)


def test_without_a_call_the_pure_mode_says_what_is_wanted() -> None:
    rows = {
        "demand": np.ones((1, 10)),
        "room_temperature": np.full((1, 10), 294.0),
        "setpoint": np.full((1, 10), 296.0),
    }
    assert compare_rows(rows, (6000.0,), State.HEATING).shortfall_k[0] == pytest.approx(2.0)
    assert compare_rows(rows, (6000.0,), State.COOLING).shortfall_k[0] == 0.0


def test_without_call_or_mode_the_side_of_the_setpoint_says_it() -> None:
    rows = {
        "demand": np.ones((2, 10)),
        "room_temperature": np.repeat([[299.0], [292.0]], 10, axis=1),
        "setpoint": np.full((2, 10), 296.0),
    }
    found = compare_rows(rows, (6000.0, 3000.0), State.SIMULTANEOUS)
    assert found.shortfall_k[0] == pytest.approx((6000 * 3.0 + 3000 * 4.0) / 9000)


def test_an_unlogged_unit_is_left_out_of_the_shares() -> None:
    found = compare({"demand": [1, np.nan], "call": [COOL, np.nan]}, (4000.0, 8000.0))
    assert found.share[0] == 1.0


def test_nothing_logged_is_nothing_told() -> None:
    found = compare({"demand": [np.nan]}, (4000.0,))
    assert np.all(np.isnan(found.share))
    assert np.all(np.isnan(found.shortfall_k))


@given(
    st.lists(
        st.tuples(
            st.floats(1e3, 2e4),
            st.sampled_from([0.0, 1.0, np.nan]),
            st.integers(0, 3),
            st.floats(290.0, 305.0) | st.just(np.nan),
        ),
        min_size=1,
        max_size=8,
    ),
    st.randoms(),
)
def test_the_order_of_the_units_does_not_matter(units: list[tuple], random: object) -> None:
    shuffled = list(units)
    random.shuffle(shuffled)  # type: ignore[attr-defined]

    def result(rows: list[tuple]) -> Demand:
        channels = {
            "demand": [r[1] for r in rows],
            "call": [float(r[2]) for r in rows],
            "room_temperature": [r[3] for r in rows],
            "setpoint": [296.0] * len(rows),
        }
        return compare(channels, tuple(r[0] for r in rows), 2)

    one, other = result(units), result(shuffled)
    assert one.share == pytest.approx(other.share, nan_ok=True)
    assert one.shortfall_k == pytest.approx(other.shortfall_k, nan_ok=True)


def test_a_call_that_contradicts_the_demand_is_no_call() -> None:
    """It asks while its call says off or fan: then the mode, or else its room, says what for."""
    rows = {
        "demand": np.ones((3, 4)),
        "call": np.repeat([[OFF], [FAN], [COOL]], 4, axis=1),
        "room_temperature": np.full((3, 4), 292.0),
        "setpoint": np.full((3, 4), 296.0),
    }
    heats = compare_rows(rows, (2000.0, 3000.0, 5000.0), State.SIMULTANEOUS)
    assert heats.shortfall_k[0] == pytest.approx(0.5 * 4.0)
    cools = compare_rows(rows, (2000.0, 3000.0, 5000.0), State.COOLING)
    assert cools.shortfall_k[0] == 0.0
