"""What rooms ask against what is delivered."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from diagnostics.plant import IndoorUnit, Plant
from diagnostics.samples import FloatArray, Samples
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
    assert found.cooling_share[0] == pytest.approx(0.75)
    assert found.heating_share[0] == 0.0
    assert found.imbalance_w[0] == pytest.approx(9000.0)


def test_heating_and_cooling_balance() -> None:
    found = compare({"demand": [1, 1], "call": [COOL, HEAT]}, (5000.0, 5000.0))
    assert found.share[0] == 1.0
    assert found.imbalance_w[0] == 0.0


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
    assert np.all(np.isnan(found.unmet_s))
    assert found.share[0] == 1.0


def test_without_a_demand_channel_the_call_asks() -> None:
    found = compare({"call": [COOL, FAN, OFF]}, (4000.0, 4000.0, 2000.0))
    assert found.share[0] == pytest.approx(0.4)


def test_without_a_call_the_pure_mode_says_what_is_wanted() -> None:
    rows = {"demand": np.ones((1, 10))}
    assert compare_rows(rows, (6000.0,), State.HEATING).heating_share[0] == 1.0
    assert compare_rows(rows, (6000.0,), State.COOLING).cooling_share[0] == 1.0


def test_without_call_or_mode_the_side_of_the_setpoint_says_it() -> None:
    rows = {
        "demand": np.ones((2, 10)),
        "room_temperature": np.repeat([[299.0], [292.0]], 10, axis=1),
        "setpoint": np.full((2, 10), 296.0),
    }
    found = compare_rows(rows, (6000.0, 3000.0), State.SIMULTANEOUS)
    assert found.cooling_share[0] == pytest.approx(2 / 3)
    assert found.heating_share[0] == pytest.approx(1 / 3)


def test_an_unlogged_unit_is_left_out_of_the_shares() -> None:
    found = compare({"demand": [1, np.nan], "call": [COOL, np.nan]}, (4000.0, 8000.0))
    assert found.share[0] == 1.0


def test_nothing_logged_is_nothing_told() -> None:
    found = compare({"demand": [np.nan]}, (4000.0,))
    for values in (found.share, found.cooling_share, found.imbalance_w):
        assert np.all(np.isnan(values))


def test_time_short_counts_from_the_last_met_sample() -> None:
    """Ten-second samples; met for the first five, then 2 K too warm."""
    n = 20
    room = np.where(np.arange(n) < 5, 297.15, 299.15)[None, :]
    rows = {
        "demand": np.ones((1, n)),
        "call": np.full((1, n), COOL),
        "room_temperature": room,
        "setpoint": np.full((1, n), 297.15),
    }
    found = compare_rows(rows, (6000.0,))
    assert found.unmet_s[4] == 0.0
    assert found.unmet_s[5] == 10.0
    assert found.unmet_s[-1] == 150.0


def test_a_long_gap_starts_the_time_short_anew() -> None:
    at = np.concatenate([np.arange(10) * 10.0, 7200.0 + np.arange(10) * 10.0])
    usual = record.running(20)
    rows = {
        "demand": np.ones((1, 20)),
        "call": np.full((1, 20), COOL),
        "room_temperature": np.full((1, 20), 300.15),
        "setpoint": np.full((1, 20), 297.15),
    }
    samples = Samples(record.instants(at), usual.outdoor, rows)
    found = demand.compare(samples, made.states(20), plant(6000.0))
    assert found.unmet_s[9] == 90.0
    assert found.unmet_s[10] == 0.0


def test_speed_is_a_share_of_the_maximum() -> None:
    found = compare({"demand": [1]}, (6000.0,))
    assert found.speed_share[0] == pytest.approx(60 / 110)


@given(
    st.lists(
        st.tuples(st.floats(1e3, 2e4), st.sampled_from([0.0, 1.0, np.nan]), st.integers(0, 3)),
        min_size=1,
        max_size=8,
    ),
    st.randoms(),
)
def test_the_order_of_the_units_does_not_matter(units: list[tuple], random: object) -> None:
    shuffled = list(units)
    random.shuffle(shuffled)  # type: ignore[attr-defined]

    def result(rows: list[tuple]) -> Demand:
        asks, calls = [r[1] for r in rows], [float(r[2]) for r in rows]
        return compare({"demand": asks, "call": calls}, tuple(r[0] for r in rows), 2)

    one, other = result(units), result(shuffled)
    assert one.share == pytest.approx(other.share, nan_ok=True)
    assert one.imbalance_w == pytest.approx(other.imbalance_w, nan_ok=True, abs=1e-6)
    known = ~np.isnan(one.share)
    parts = one.cooling_share + one.heating_share
    assert np.all(parts[known] <= one.share[known] + 1e-9)


def short_since(seconds: list[float], room_k: list[float]) -> list[float]:
    """Seconds unmet of one cooled room with a setpoint of 297.15 K."""
    n = len(seconds)
    rows = {
        "demand": np.ones((1, n)),
        "call": np.full((1, n), COOL),
        "room_temperature": np.array([room_k]),
        "setpoint": np.full((1, n), 297.15),
    }
    samples = Samples(record.instants(np.array(seconds)), record.running(n).outdoor, rows)
    return demand.compare(samples, made.states(n), plant(6000.0)).unmet_s.tolist()


@pytest.mark.parametrize(("gap_s", "unmet_s"), [(900.0, 910.0), (901.0, 0.0)])
def test_a_room_stays_short_over_a_quarter_of_an_hour_without_samples(
    gap_s: float, unmet_s: float
) -> None:
    found = short_since([0.0, 10.0, 10.0 + gap_s, 20.0 + gap_s], [300.0] * 4)
    assert found[2] == unmet_s
    assert found[3] == (unmet_s + 10.0 if unmet_s else 10.0)


@pytest.mark.parametrize(("excess_k", "short"), [(0.99, False), (1.01, True)])
def test_a_room_is_short_from_a_kelvin_on(excess_k: float, short: bool) -> None:
    found = short_since([0.0, 10.0, 20.0], [297.15, 297.15 + excess_k, 297.15 + excess_k])
    assert found == ([0.0, 10.0, 20.0] if short else [0.0, 0.0, 0.0])


def test_a_room_that_is_met_in_between_begins_anew() -> None:
    found = short_since([0.0, 10.0, 20.0, 30.0, 40.0], [300.0, 300.0, 297.0, 300.0, 300.0])
    assert found == [0.0, 10.0, 0.0, 10.0, 20.0]


def test_a_call_that_contradicts_the_demand_is_no_call() -> None:
    """It asks while its call says off or fan: then the mode, or else its room, says what for."""
    rows = {
        "demand": np.ones((3, 4)),
        "call": np.repeat([[OFF], [FAN], [COOL]], 4, axis=1),
        "room_temperature": np.full((3, 4), 292.0),
        "setpoint": np.full((3, 4), 296.0),
    }
    heats = compare_rows(rows, (2000.0, 3000.0, 5000.0), State.SIMULTANEOUS)
    assert (heats.heating_share[0], heats.cooling_share[0]) == pytest.approx((0.5, 0.5))
    assert heats.imbalance_w[0] == pytest.approx(0.0)
    assert heats.shortfall_k[0] == pytest.approx(0.5 * 4.0)
    cools = compare_rows(rows, (2000.0, 3000.0, 5000.0), State.COOLING)
    assert cools.cooling_share[0] == 1.0
    assert cools.imbalance_w[0] == pytest.approx(10_000.0)
