"""Operating state: order of trust, special states, the steady mask."""

from __future__ import annotations

import numpy as np
import pytest

from diagnostics.channels import CALLS
from diagnostics.refrigerant import fluid
from diagnostics.samples import FloatArray, Samples
from diagnostics.signals import state, timebase
from diagnostics.signals.state import State, States
from tests.diagnostics.record import instants, plant, reported, running

N = 240
COOL, HEAT, FAN, OFF = (float(CALLS.index(name)) for name in ("cool", "heat", "fan", "off"))
WARM_COIL = {"outdoor_coil_temperature": 315.0, "outdoor_air_temperature": 303.0}
COLD_COIL = {"outdoor_coil_temperature": 270.0, "outdoor_air_temperature": 278.0}


def classify(samples: Samples) -> States:
    system = plant()
    return state.classify(samples, timebase.of(samples), fluid(system.refrigerant), system)


def calls(first: float, second: float, n: int = N, demand: float = 1.0) -> dict[str, FloatArray]:
    rows = np.stack([np.full(n, first), np.full(n, second)])
    return {"call": rows, "demand": np.full((2, n), demand)}


def only(states: States) -> State:
    """The one state of the whole span."""
    assert np.unique(states.state).size == 1
    return State(states.state[0])


@pytest.mark.parametrize(
    ("first", "second", "expected", "pure"),
    [
        (COOL, COOL, State.COOLING, 1),
        (COOL, OFF, State.COOLING, 1),
        (HEAT, FAN, State.HEATING, -1),
        (COOL, HEAT, State.SIMULTANEOUS, 0),
    ],
)
def test_rooms_decide(first: float, second: float, expected: State, pure: int) -> None:
    states = classify(running(N, indoor=calls(first, second)))
    assert only(states) is expected
    assert (states.pure == pure).all()
    assert states.running.all()


def test_a_call_without_demand_does_not_count() -> None:
    indoor = calls(COOL, HEAT)
    indoor["demand"][1] = 0.0
    assert only(classify(running(N, indoor=indoor))) is State.COOLING


def test_a_call_counts_where_demand_is_not_logged() -> None:
    indoor = {"call": calls(HEAT, OFF)["call"]}
    assert only(classify(running(N, indoor=indoor))) is State.HEATING


def test_rooms_are_trusted_before_the_units_own_word_and_that_before_the_coil() -> None:
    word = {"reported_state": np.full(N, reported("heating")[0])}
    both = running(N, outdoor=word | WARM_COIL, indoor=calls(COOL, COOL))
    assert only(classify(both)) is State.COOLING
    assert only(classify(running(N, outdoor=word | WARM_COIL))) is State.HEATING
    assert only(classify(running(N, outdoor=WARM_COIL))) is State.COOLING
    assert only(classify(running(N, outdoor=COLD_COIL))) is State.HEATING


def test_with_nothing_to_tell_the_mode_there_is_none() -> None:
    states = classify(running(N))
    assert only(states) is State.OFF
    assert states.running.all()
    assert (states.pure == 0).all()
    assert not states.steady.any()


@pytest.mark.parametrize("word", ["defrost", "oil_return"])
def test_defrost_and_oil_return_are_the_units_own_word(word: str) -> None:
    said = np.full(N, reported("heating")[0])
    said[100:140] = reported(word)[0]
    states = classify(running(N, outdoor={"reported_state": said}, indoor=calls(HEAT, HEAT)))
    assert (states.state[100:140] == State[word.upper()]).all()
    assert (states.state[:100] == State.HEATING).all()
    assert states.state[140] == State.STARTING
    assert states.state[-1] == State.HEATING
    assert not states.steady[100:140].any()
    assert (states.pure[100:140] == 0).all()


def test_a_short_warm_coil_in_heating_is_defrost_and_a_lasting_one_a_bad_thermistor() -> None:
    coil = np.full(N, 270.0)
    coil[100:140] = 285.0
    air = {"outdoor_air_temperature": 275.0}
    short = classify(
        running(N, outdoor=air | {"outdoor_coil_temperature": coil}, indoor=calls(HEAT, HEAT))
    )
    assert np.flatnonzero(short.state == State.DEFROST).tolist() == list(range(100, 140))
    lasting = classify(
        running(N, outdoor=air | {"outdoor_coil_temperature": 285.0}, indoor=calls(HEAT, HEAT))
    )
    assert only(lasting) is State.HEATING


@pytest.mark.parametrize("scale", [0.25, 1.0, 4.0])
def test_idle_units_forced_open_for_some_minutes_are_oil_return(scale: float) -> None:
    """Whatever the travel of the valves, which no manifest gives."""
    indoor = calls(COOL, OFF)
    indoor["demand"][1] = 0.0
    indoor["valve"] = scale * np.stack([np.full(N, 0.5), np.full(N, 0.1)])
    indoor["valve"][:, 100:130] = scale * 0.6
    states = classify(running(N, indoor=indoor))
    assert np.flatnonzero(states.state == State.OIL_RETURN).tolist() == list(range(100, 130))
    assert (states.state[130:] == State.COOLING).all()
    indoor["valve"][1] = scale * 0.6  # a valve that never closes is no oil return
    assert only(classify(running(N, indoor=indoor))) is State.COOLING


def test_wide_open_valves_of_units_that_ask_are_no_oil_return() -> None:
    indoor = calls(COOL, COOL)
    indoor["valve"] = np.full((2, N), 0.3)
    indoor["valve"][:, 100:130] = 0.9
    assert only(classify(running(N, indoor=indoor))) is State.COOLING


def test_the_first_minutes_after_a_start_are_starting() -> None:
    speed = np.where(np.arange(N) < 60, 0.0, 60.0)
    states = classify(running(N, outdoor={"compressor_speed": speed}, indoor=calls(COOL, COOL)))
    assert (states.state[:60] == State.OFF).all()
    assert not states.running[:60].any()
    starting = np.flatnonzero(states.state == State.STARTING)
    assert starting[0] == 60
    assert starting.size * 10 == pytest.approx(state.START_S, abs=10)
    assert (states.pure[60:] == 1).all()


def test_a_reversal_from_cooling_to_heating_is_a_start() -> None:
    indoor = calls(COOL, COOL)
    indoor["call"][:, 120:] = HEAT
    states = classify(running(N, indoor=indoor))
    starting = np.flatnonzero(states.state == State.STARTING)
    assert starting[0] == 120
    assert starting.size * 10 == pytest.approx(state.REVERSAL_S, abs=10)


def test_without_a_speed_the_pressures_tell_whether_it_runs() -> None:
    samples = running(N, indoor=calls(COOL, COOL))
    pressures = {n: v.copy() for n, v in samples.outdoor.items() if n.endswith("pressure")}
    pressures["suction_pressure"][:60] = pressures["discharge_pressure"][:60] = 1.5e6
    states = classify(Samples(samples.time, pressures, samples.indoor))
    assert not states.running[:60].any()
    assert states.running[60:].all()


def test_a_mode_stands_while_the_compressor_runs_on() -> None:
    indoor = calls(HEAT, HEAT)
    indoor["demand"][:, 100:] = 0.0
    states = classify(running(N, indoor=indoor))
    assert (states.state[:100] == State.HEATING).all()
    assert (states.state[100:160] == State.HEATING).all()
    assert states.state[-1] == State.OFF


def test_a_limit_cycle_about_a_level_is_steady_and_a_drift_is_not() -> None:
    """Suction pressure swings by 60 kPa (2.3 K) every 110 s: steady in its cycle mean."""
    seconds = np.arange(N) * 10.0
    swing = {"suction_pressure": 0.8e6 + 30e3 * np.sin(2 * np.pi * seconds / 110)}
    assert classify(running(N, outdoor=swing, indoor=calls(COOL, COOL))).steady[35:-35].all()
    drift = {"suction_pressure": 0.8e6 + 150.0 * seconds}  # 1.3 K or more in 300 s
    assert not classify(running(N, outdoor=drift, indoor=calls(COOL, COOL))).steady[35:-35].any()
    ramp = {"compressor_speed": 40.0 + 0.03 * seconds}  # 8 % or more in five minutes
    assert not classify(running(N, outdoor=ramp, indoor=calls(COOL, COOL))).steady[35:-35].any()


@pytest.mark.parametrize("interval_s", [5.0, 10.0, 60.0, 300.0])
def test_steady_operation_is_steady_at_any_logging_interval(interval_s: float) -> None:
    states = classify(running(N, interval_s, indoor=calls(COOL, COOL)))
    assert states.steady.all()


@pytest.mark.parametrize("missing", ["discharge_pressure", "suction_pressure", "compressor_speed"])
def test_a_missing_channel_takes_only_its_own_part(missing: str) -> None:
    samples = running(N, indoor=calls(COOL, COOL))
    left = {name: values for name, values in samples.outdoor.items() if name != missing}
    states = classify(Samples(samples.time, left, samples.indoor))
    assert only(states) is State.COOLING
    assert states.steady.all()


def test_short_holes_are_bridged_and_long_ones_not() -> None:
    speed = np.full(N, 60.0)
    speed[50:52] = np.nan
    samples = running(N, outdoor={"compressor_speed": speed}, indoor=calls(COOL, COOL))
    no_pressure = Samples(
        samples.time,
        {"compressor_speed": speed},
        samples.indoor,
    )
    assert classify(no_pressure).running.all()
    speed[100:110] = np.nan
    assert np.flatnonzero(~classify(no_pressure).running).tolist() == list(range(102, 110))


def test_an_empty_span_and_one_without_channels_are_off() -> None:
    for seconds in (np.zeros(0), np.arange(30.0) * 10):
        states = classify(Samples(instants(seconds), {}, {}))
        assert states.state.size == seconds.size
        assert (states.state == State.OFF).all()
        assert not states.running.any()


@pytest.mark.parametrize(
    ("above_k", "expected"),
    [
        (1.6, State.COOLING),
        (1.5, State.OFF),
        (0.0, State.OFF),
        (-1.5, State.OFF),
        (-1.6, State.HEATING),
    ],
)
def test_a_coil_a_kelvin_and_a_half_off_the_air_tells_the_mode(
    above_k: float, expected: State
) -> None:
    """Multiples of 1/8 K about 296 K, so that the difference is exact where it matters."""
    coil = {"outdoor_coil_temperature": 296.0 + above_k, "outdoor_air_temperature": 296.0}
    found = classify(running(N, outdoor=coil)).state[120:]
    assert set(found.tolist()) == {int(expected)}


@pytest.mark.parametrize(("ratio", "runs"), [(1.31, True), (1.29, False)])
def test_pressures_a_third_apart_mean_that_a_compressor_turns(ratio: float, runs: bool) -> None:
    pressures = {"discharge_pressure": ratio * 1e6, "suction_pressure": 1e6}
    found = classify(running(N, outdoor=pressures | {"compressor_speed": np.nan}))
    assert found.running.all() == found.running.any() == runs


@pytest.mark.parametrize(("speed", "runs"), [(0.5, False), (0.51, True)])
def test_half_a_turn_a_second_is_at_rest(speed: float, runs: bool) -> None:
    """The pressures say otherwise, but the speed is trusted before them."""
    assert classify(running(N, outdoor={"compressor_speed": speed})).running.all() == runs


@pytest.mark.parametrize(("warmer_k", "expected"), [(3.9, State.HEATING), (4.1, State.DEFROST)])
def test_a_coil_four_kelvin_warmer_than_the_air_is_defrosted(
    warmer_k: float, expected: State
) -> None:
    spell = (np.arange(N) >= 100) & (np.arange(N) < 140)
    coil = {
        "outdoor_coil_temperature": 275.0 + np.where(spell, warmer_k, -6.0),
        "outdoor_air_temperature": 275.0,
    }
    found = classify(running(N, outdoor=coil, indoor=calls(HEAT, HEAT))).state
    assert set(found[spell].tolist()) == {int(expected)}


@pytest.mark.parametrize(("samples", "expected"), [(119, State.DEFROST), (121, State.HEATING)])
def test_a_defrost_is_over_within_twenty_minutes(samples: int, expected: State) -> None:
    """From the sample before the spell to the one after it, ten seconds each."""
    spell = (np.arange(2 * N) >= 100) & (np.arange(2 * N) < 100 + samples)
    coil = {
        "outdoor_coil_temperature": 275.0 + np.where(spell, 10.0, -6.0),
        "outdoor_air_temperature": 275.0,
    }
    found = classify(running(2 * N, outdoor=coil, indoor=calls(HEAT, HEAT, 2 * N))).state
    assert set(found[spell].tolist()) == {int(expected)}


def test_a_mode_stands_for_ten_minutes_after_the_last_room_asked() -> None:
    indoor = calls(COOL, COOL)
    indoor["demand"][:, 100:] = 0.0
    found = classify(running(N, indoor=indoor)).state
    assert set(found[100:160].tolist()) == {int(State.COOLING)}
    assert set(found[160:].tolist()) == {int(State.OFF)}


def test_a_start_takes_five_minutes() -> None:
    speed = np.where(np.arange(N) < 100, 0.0, 60.0)
    samples = running(N, outdoor={"compressor_speed": speed}, indoor=calls(COOL, COOL))
    found = classify(samples).state
    assert set(found[:100].tolist()) == {int(State.OFF)}
    assert set(found[100:131].tolist()) == {int(State.STARTING)}
    assert set(found[131:].tolist()) == {int(State.COOLING)}


def test_a_reversal_takes_three_minutes() -> None:
    turned = calls(COOL, COOL)
    turned["call"][:, 100:] = HEAT
    found = classify(running(N, indoor=turned)).state
    assert set(found[40:100].tolist()) == {int(State.COOLING)}
    assert set(found[100:119].tolist()) == {int(State.STARTING)}
    assert set(found[119:].tolist()) == {int(State.HEATING)}


@pytest.mark.parametrize(("share", "steady"), [(0.07, True), (0.09, False)])
def test_a_speed_that_changes_by_less_than_eight_per_cent_is_steady(
    share: float, steady: bool
) -> None:
    """A step in the middle: there the means before and after differ by all of it."""
    speed = 60.0 * np.exp(np.where(np.arange(N) < 120, 0.0, share))
    found = classify(running(N, outdoor={"compressor_speed": speed}, indoor=calls(COOL, COOL)))
    assert found.steady[110:130].all() == steady
    assert found.steady[60:85].all()


@pytest.mark.parametrize("name", ["suction_pressure", "discharge_pressure"])
@pytest.mark.parametrize(("step_k", "steady"), [(0.9, True), (1.1, False)])
def test_a_saturation_temperature_that_changes_by_less_than_a_kelvin_is_steady(
    name: str, step_k: float, steady: bool
) -> None:
    level = {"suction_pressure": 280.0, "discharge_pressure": 318.0}[name]
    dew_k = np.where(np.arange(N) < 120, level, level + step_k)
    properties = fluid(plant().refrigerant)
    pressure = np.array([properties.p_bubble_pa(np.array([t]))[0] for t in (level, level + step_k)])
    # R-410A: a kelvin of bubble point is a kelvin of dew point to a part in a hundred.
    values = np.where(dew_k == level, pressure[0], pressure[1])
    found = classify(running(N, outdoor={name: values}, indoor=calls(COOL, COOL)))
    assert found.steady[110:130].all() == steady
