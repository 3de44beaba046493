"""The model of direction at its edges, against sums done by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from diagnostics.samples import FloatArray
from diagnostics.signals import direction, timebase
from diagnostics.signals.direction import Direction, Tuning
from diagnostics.signals.state import State, States
from tests.diagnostics import made
from tests.diagnostics.record import running

STILL = Tuning(turns_per_hour=0.0)


def infer(
    drop_k: FloatArray | float,
    opening: FloatArray | float,
    states: States,
    interval_s: float = 10.0,
    tuning: Tuning = STILL,
) -> Direction:
    """Liquid at 300 K on the indoor side."""
    n = states.running.size
    columns = {
        "liquid_temperature_outdoor_side": 300.0 + np.broadcast_to(drop_k, n),
        "liquid_temperature_indoor_side": np.full(n, 300.0),
        "subcooler_valve": np.broadcast_to(opening, n),
    }
    samples = running(n, interval_s, columns)
    return direction.infer(samples, timebase.of(samples), states, tuning)


def log_odds(told: Direction) -> FloatArray:
    p = told.probability_to_indoor
    return np.log(p / (1.0 - p))


def test_a_valve_speaks_while_open_and_twenty_seconds_after() -> None:
    """Open at one reading of 10 s: its drop is seen there and twice more."""
    opening = np.where(np.arange(12) == 5, 0.4, 0.0)
    told = infer(8.0, opening, made.states(12))
    assert np.flatnonzero(np.isfinite(told.contradiction)).tolist() == [5, 6, 7]
    assert not told.valve_open.any()


def test_a_valve_is_taken_as_open_twenty_seconds_after_it_opens() -> None:
    opening = np.where(np.arange(12) >= 5, 0.4, 0.0)
    told = infer(8.0, opening, made.states(12))
    assert np.flatnonzero(told.valve_open).tolist() == [7, 8, 9, 10, 11]
    off = infer(8.0, opening, made.states(12, State.OFF))
    assert not off.valve_open.any()


@pytest.mark.parametrize(("opening", "passes"), [(0.06, False), (0.061, True)])
def test_a_valve_passes_from_its_dead_band_on(opening: float, passes: bool) -> None:
    """29 pulses of 480: flow starts at 20 to 60 (common practice)."""
    assert np.isfinite(infer(8.0, opening, made.states(6)).contradiction).all() == passes


@pytest.mark.parametrize(("drop_k", "sign"), [(9.0, 1), (-9.0, -1)])
def test_an_answer_is_given_from_97_in_100(drop_k: float, sign: int) -> None:
    """log(97/3) is 3.48: a reading that may count 3.4 decides nothing, one of 3.55 does."""
    mixed = made.states(1, State.SIMULTANEOUS)
    for cap, told in ((3.40, 0), (3.55, sign)):
        found = infer(drop_k, 0.4, mixed, tuning=Tuning(cap=cap))
        assert found.sign.tolist() == [told]
        assert log_odds(found)[0] == pytest.approx(sign * cap)


@pytest.mark.parametrize(
    ("code", "expected"),
    [
        (State.COOLING, 12.0),
        (State.HEATING, -12.0),
        (State.DEFROST, 1.0),
        (State.OIL_RETURN, 1.0),
        (State.SIMULTANEOUS, 0.0),
        (State.STARTING, 0.0),
    ],
)
def test_what_a_state_says_of_the_direction_by_itself(code: State, expected: float) -> None:
    """With the valve closed. Twelve are odds of 160,000 to 1, one of 2.7 to 1."""
    told = infer(8.0, 0.0, made.states(1, code))
    assert log_odds(told)[0] == pytest.approx(expected, rel=1e-6, abs=1e-9)


def test_a_special_state_counts_once_in_half_a_minute() -> None:
    """Six readings of 10 s, which repeat each other: two of half a minute."""
    told = infer(8.0, 0.0, made.states(6, State.DEFROST))
    assert log_odds(told) == pytest.approx(np.full(6, 2.0))
    sparse = infer(8.0, 0.0, made.states(6, State.DEFROST), interval_s=60.0)
    assert log_odds(sparse) == pytest.approx(np.full(6, 6.0))


def test_a_contradiction_is_the_evidence_against_a_pure_mode() -> None:
    """Four against cooling where the indoor side is warmer, and four for it the other way."""
    for code, drop_k, against in (
        (State.COOLING, 9.0, -4.0),
        (State.COOLING, -9.0, 4.0),
        (State.HEATING, 9.0, 4.0),
        (State.HEATING, -9.0, -4.0),
    ):
        told = infer(drop_k, 0.4, made.states(3, code))
        assert told.contradiction.tolist() == [against] * 3
    assert np.isnan(infer(9.0, 0.4, made.states(3, State.SIMULTANEOUS)).contradiction).all()


def learned(d_k: FloatArray, closed: FloatArray, states: States) -> tuple[float, float]:
    samples = running(d_k.size)
    return direction.learn_offset(d_k, ~closed.astype(bool), timebase.of(samples), states)


def weighed(value: float, variance: float) -> tuple[float, float]:
    """With the prior of 0 -/+ 0.7 K."""
    precision = 1.0 / variance + 1.0 / 0.49
    return value / variance / precision, precision**-0.5


@pytest.mark.parametrize(("code", "loss"), [(State.COOLING, 0.15), (State.HEATING, -0.15)])
def test_a_closed_valve_shows_the_offset_and_the_pipe_s_loss(code: State, loss: float) -> None:
    """Closed for 2400 s, of which the last 2160 s, 217 readings, count: 1 K. Before that the pipe
    has not warmed up. Least spread 0.1 K, 7.2 independent five minutes, loss good to 0.2 K."""
    n = 241
    d = np.where(np.arange(n) < 24, 9.0, 1.0)
    found = learned(d, np.ones(n), made.states(n, code))
    scatter = 1.25 * 0.1 / np.sqrt(217 * 10 / 300)
    assert found == pytest.approx(weighed(1.0 - loss, scatter**2 + 0.04))


def test_a_rest_shows_the_offset_after_an_hour() -> None:
    """Good to 0.4 K; what stands before the hour is over does not count."""
    n = 721
    d = np.where(np.arange(n) < 360, 9.0, 1.0)
    found = learned(d, np.ones(n), made.states(n, State.OFF))
    scatter = 1.25 * 0.1 / np.sqrt(361 * 10 / 300)
    assert found == pytest.approx(weighed(1.0, scatter**2 + 0.16))


@pytest.mark.parametrize(("d_k", "is_offset"), [(3.1, True), (3.2, False), (-2.8, True)])
def test_more_than_three_kelvin_is_no_offset(d_k: float, is_offset: bool) -> None:
    """Less the pipe's 0.15 K in cooling."""
    offset, sigma = learned(np.full(200, d_k), np.ones(200), made.states(200))
    assert (offset != 0.0) == is_offset
    assert (sigma < 0.5) == is_offset


def test_a_valve_that_may_be_open_teaches_nothing() -> None:
    found = learned(np.full(200, 1.0), np.zeros(200), made.states(200))
    assert found == pytest.approx((0.0, 0.7))


def test_cooling_and_heating_that_agree_are_surer_than_either() -> None:
    """1.15 K in cooling and 0.85 K in heating are both an offset of 1 K."""
    n = 400
    cools = np.arange(n) < 200
    one, other = made.states(n), made.states(n, State.HEATING)
    both = replace(
        one,
        state=np.where(cools, one.state, other.state),
        pure=np.where(cools, 1, -1).astype(np.int8),
    )
    found = learned(np.where(cools, 1.15, 0.85), np.ones(n), both)
    first = (1.25 * 0.1) ** 2 / (176 * 10 / 300) + 0.04
    then = (1.25 * 0.1) ** 2 / (200 * 10 / 300) + 0.04
    assert found == pytest.approx(weighed(1.0, 1.0 / (1.0 / first + 1.0 / then)))


def test_cooling_and_heating_that_differ_widen_by_their_birge_ratio() -> None:
    """1 K either way: mean 0; chi square of two is their sum, over one degree of freedom."""
    n = 400
    cools = np.arange(n) < 200
    one = made.states(n)
    both = replace(one, pure=np.where(cools, 1, -1).astype(np.int8))
    # The valve opens for a moment between, so each mode has its own 176 readings.
    closed = np.arange(n) != 200
    d = np.where(cools, 1.15, -1.15)
    offset, sigma = learned(d, closed, both)
    variance = [(1.25 * 0.1) ** 2 / (many * 10 / 300) + 0.04 for many in (176, 175)]
    assert offset == pytest.approx(0.0, abs=1e-3)
    misfit = sum(1.0 / it for it in variance)
    assert sigma == pytest.approx(np.sqrt(misfit / (misfit + 1.0 / 0.49)), rel=1e-3)


def test_three_that_differ_widen_by_the_root_of_half_their_chi_square() -> None:
    """1 K either way in cooling and heating, none after a rest: two degrees of freedom."""
    n = 1000
    code = np.repeat([State.COOLING, State.HEATING, State.OFF], [200, 200, 600])
    runs = code != State.OFF
    pure = np.select([code == State.COOLING, code == State.HEATING], [1, -1]).astype(np.int8)
    mixed = States(code.astype(np.int8), runs, runs, pure)
    d = np.select([code == State.COOLING, code == State.HEATING], [1.15, -1.15])
    offset, sigma = learned(d, np.arange(n) != 200, mixed)
    ran = [(1.25 * 0.1) ** 2 / (many * 10 / 300) + 0.04 for many in (176, 175)]
    rested = (1.25 * 0.1) ** 2 / (240 * 10 / 300) + 0.16
    precision = sum(1.0 / it for it in (*ran, rested, 0.49))
    assert offset == pytest.approx(0.0, abs=1e-3)
    misfit = sum(1.0 / it for it in ran) / 2.0
    assert sigma == pytest.approx(np.sqrt(misfit / precision), rel=1e-3)
