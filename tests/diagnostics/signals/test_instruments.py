"""Checks of the instruments: each fault shows in its own signal and not in its neighbour's."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from diagnostics import refrigerant
from diagnostics.plant import Refrigerant
from diagnostics.samples import FloatArray, Samples
from diagnostics.signals import instruments, state, timebase
from diagnostics.signals.instruments import INDOOR_SIDE, OUTDOOR_SIDE, Instruments
from diagnostics.signals.state import State, States
from tests.diagnostics import made, record
from tests.diagnostics.made import Scene, scene

R410A = refrigerant.fluid(Refrigerant.R410A)
AIR_K = 293.15


def check(s: Scene) -> Instruments:
    """All checks of a scene."""
    return instruments.check(s.samples, s.timebase, s.states, s.direction, s.fluid, s.plant)


def standing(hours: float = 2.0, **outdoor: float) -> Scene:
    """At standstill, both pressures at saturation of the outdoor air, unless changed."""
    rest_pa = float(R410A.p_bubble_pa(AIR_K)[0])
    usual = {
        "compressor_speed": 0.0,
        "discharge_pressure": rest_pa,
        "suction_pressure": rest_pa,
        "outdoor_air_temperature": AIR_K,
        OUTDOOR_SIDE: AIR_K,
        INDOOR_SIDE: AIR_K,
        "subcooler_valve": 0.0,
    }
    return scene(round(hours * 360), outdoor=usual | outdoor, code=State.OFF)


def test_healthy_transducers_agree_at_standstill() -> None:
    found = check(standing())
    late = slice(-60, None)
    assert found.standstill_difference_pa[late] == pytest.approx(np.zeros(60))
    assert found.standstill_discharge_k[late] == pytest.approx(np.zeros(60), abs=1e-3)
    assert found.standstill_suction_k[late] == pytest.approx(np.zeros(60), abs=1e-3)


def test_an_offset_transducer_shows_its_offset() -> None:
    """R-410A at 1.447 MPa and 20 degC: 60 kPa are 1.5 K."""
    rest_pa = float(R410A.p_bubble_pa(AIR_K)[0])
    found = check(standing(discharge_pressure=rest_pa + 60e3))
    assert found.standstill_difference_pa[-1] == pytest.approx(60e3)
    assert found.standstill_discharge_k[-1] == pytest.approx(1.5, abs=0.1)
    assert found.standstill_suction_k[-1] == pytest.approx(0.0, abs=1e-3)


def test_pressures_are_given_time_to_meet() -> None:
    found = check(standing(hours=1.0))
    early = slice(0, round(instruments.STANDSTILL_S / 10) - 1)
    assert np.all(np.isnan(found.standstill_difference_pa[early]))
    assert np.isfinite(found.standstill_difference_pa[-1])


def test_liquid_hotter_than_saturation_is_impossible() -> None:
    """Bubble point at 2.60 MPa is 42.885 degC."""
    normal = check(scene()).above_saturation_k[180]
    assert normal < 0
    hot = check(scene(outdoor={OUTDOOR_SIDE: 273.15 + 48.0})).above_saturation_k[180]
    assert hot == pytest.approx(48 - 42.885 - 2 * instruments.CIRCUIT_SIGMA_K, abs=0.02)


def test_a_discharge_thermistor_below_condensing_is_impossible() -> None:
    assert check(scene()).discharge_below_condensing_k[180] < -20
    off = check(scene(outdoor={"discharge_temperature": 300.0}))
    assert off.discharge_below_condensing_k[180] > 15


def test_an_open_valve_shows_its_drop_beside_the_expected_one() -> None:
    """Worked example: 14 K; the valve equation and the compressor's flow expect the like."""
    found = check(scene(outdoor={"subcooler_valve": 0.35}))
    assert found.drop_valve_open_k[180] == pytest.approx(14.0)
    assert 8.0 < found.expected_drop_k[180] < 25.0
    assert np.all(np.isnan(found.drop_valve_closed_k))


def test_a_valve_stuck_closed_shows_no_drop_where_one_is_expected() -> None:
    found = check(scene(outdoor={INDOOR_SIDE: 312.05}))
    assert found.drop_valve_open_k[180] == pytest.approx(0.1, abs=1e-6)
    assert found.expected_drop_k[180] > 8.0


def test_the_expected_drop_never_reaches_below_the_evaporating_temperature() -> None:
    found = check(scene(outdoor={"subcooler_valve": 1.0, "compressor_speed": 15.0}))
    reach = 312.15 - float(R410A.t_dew_k(0.95e6)[0])
    assert found.expected_drop_k[180] <= 0.95 * reach + 1e-9


def closed_days(difference: FloatArray, way: FloatArray, speed: FloatArray) -> Instruments:
    """Valve commanded closed throughout; the thermistors' difference is given."""
    n = difference.size
    outdoor = made.SUBCOOLER | {
        "subcooler_valve": 0.0,
        "compressor_speed": speed,
        OUTDOOR_SIDE: 310.0 + difference / 2,
        INDOOR_SIDE: 310.0 - difference / 2,
    }
    samples = record.running(n, 10.0, outdoor)
    running = speed > 0
    code = np.where(~running, State.OFF, np.where(way > 0, State.COOLING, State.HEATING))
    states = States(
        code.astype(np.int8),
        running,
        running,
        np.where(running, way, 0).astype(np.int8),
    )
    return check(made.of(samples, states))


N = 4 * 360


def both_ways() -> tuple[FloatArray, FloatArray]:
    """Two hours to the rooms, two hours back, at one speed."""
    return np.where(np.arange(N) < N // 2, 1.0, -1.0), np.full(N, 50.0)


def test_an_offset_of_the_thermistors_is_no_leak() -> None:
    way, speed = both_ways()
    found = closed_days(np.full(N, 0.9), way, speed)
    assert found.offset_k == pytest.approx(0.9, abs=0.15)
    assert found.leak_k == pytest.approx(0.0, abs=0.15)
    assert np.nanmax(np.abs(found.drop_valve_closed_k)) < 0.2


def test_a_leaking_valve_turns_with_the_direction() -> None:
    way, speed = both_ways()
    found = closed_days(4.0 * way, way, speed)
    assert found.leak_k == pytest.approx(4.0, abs=0.25)
    assert found.offset_k == pytest.approx(0.0, abs=0.15)
    assert np.nanmean(found.drop_valve_closed_k) == pytest.approx(4.0, abs=0.2)


def test_standstill_tells_offset_from_leak_in_a_system_that_only_cools() -> None:
    speed = np.where(np.arange(N) < N // 2, 50.0, 0.0)
    way = np.ones(N)
    leak = closed_days(np.where(speed > 0, 3.0, 0.0), way, speed)
    offset = closed_days(np.full(N, 1.5), way, speed)
    assert leak.leak_k == pytest.approx(3.0, abs=0.3)
    assert offset.leak_k == pytest.approx(0.0, abs=0.3)
    assert leak.offset_k == pytest.approx(0.0, abs=0.2)


def test_a_leak_cools_a_thin_stream_more() -> None:
    """One direction, no standstill: the effect goes with one over the flow."""
    speed = np.where(np.arange(N) % 720 < 360, 30.0, 90.0)
    way = np.ones(N)
    found = closed_days(3.0 * 50.0 / speed, way, speed)
    assert abs(found.offset_k) < 0.35
    steady = closed_days(np.full(N, 1.2), way, speed)
    assert steady.leak_k < 0.6


def test_one_direction_at_one_flow_leaves_the_doubt_standing() -> None:
    way, speed = both_ways()
    told = closed_days(4.0 * way, way, speed)
    untold = closed_days(np.full(N, 4.0), np.ones(N), speed)
    assert untold.leak_sigma_k > 3 * told.leak_sigma_k


def moving_condenser(share: float, hours: int = 4) -> Scene:
    """Condensing temperature wanders; the outdoor-side thermistor feels ``share`` of the pipe."""
    n = hours * 360
    rng = np.random.default_rng(8)
    walk = np.convolve(rng.normal(size=n + 60), np.ones(60) / np.sqrt(60), "valid")[:n]
    condensing = 318.15 + 3.0 * walk
    pipe = condensing - 5.0
    reading = AIR_K + share * (pipe - AIR_K)
    return scene(
        n,
        outdoor={
            "discharge_pressure": R410A.p_bubble_pa(condensing),
            OUTDOOR_SIDE: reading,
            INDOOR_SIDE: pipe - 10.0,
            "outdoor_air_temperature": AIR_K,
        },
    )


def test_a_thermistor_off_its_pipe_is_told_from_one_on_it() -> None:
    on, off = (check(moving_condenser(share)) for share in (1.0, 0.05))
    assert np.nanmean(on.outdoor_side_tracks_air) < 0.15
    assert np.nanmean(off.outdoor_side_tracks_air) > 0.7
    assert np.nanmean(off.indoor_side_tracks_air) < 0.15


def test_a_still_condensing_temperature_says_nothing_about_a_thermistor() -> None:
    assert np.all(np.isnan(check(scene()).outdoor_side_tracks_air))


def test_missing_channels_make_checks_silent_not_wrong() -> None:
    s = scene()
    bare = Samples(s.samples.time, {"compressor_speed": s.samples.outdoor["compressor_speed"]}, {})
    found = check(replace(s, samples=bare, direction=made.known_direction(bare, 1)))
    for name in ("above_saturation_k", "drop_valve_open_k", "expected_drop_k"):
        assert np.all(np.isnan(getattr(found, name)))


@settings(max_examples=25, deadline=None)
@given(offset=st.floats(-2, 2), leak=st.floats(0, 6))
def test_offset_and_leak_are_told_apart(offset: float, leak: float) -> None:
    way, speed = both_ways()
    found = closed_days(offset + leak * way, way, speed)
    assert found.offset_k == pytest.approx(offset, abs=0.25)
    assert found.leak_k == pytest.approx(leak, abs=0.25)


def test_states_and_time_come_from_the_usual_stages() -> None:
    """The whole way on a plain day: nothing impossible is reported of a healthy unit."""
    samples = scene(720).samples
    base = timebase.of(samples)
    found_states = state.classify(samples, base, R410A, made.with_valve())
    assert found_states.running.all()
    found = check(made.inferred(samples, made.with_valve()))
    assert not np.any(found.above_saturation_k > 0)
    assert not np.any(found.discharge_below_condensing_k > 0)


@pytest.mark.parametrize(("share", "near"), [(0.0, 1.0), (0.25, 0.75), (0.5, 0.5)])
def test_a_thermistor_is_as_far_off_its_pipe_as_it_is_near_to_air(
    share: float, near: float
) -> None:
    """A still reading answers nothing; 20 K between air and saturation."""
    wandering = moving_condenser(1.0)
    samples = wandering.samples
    bubble_k = R410A.t_bubble_k(samples.outdoor_or_nan("discharge_pressure"))
    middle = float(np.median(bubble_k))
    reading = np.full(bubble_k.size, AIR_K + share * (middle - AIR_K))
    samples = Samples(samples.time, dict(samples.outdoor) | {OUTDOOR_SIDE: reading}, {})
    found = check(replace(wandering, samples=samples)).outdoor_side_tracks_air
    there = np.abs(bubble_k - middle) < 0.05
    assert there.any()
    assert found[there] == pytest.approx(np.full(there.sum(), near), abs=0.01)
