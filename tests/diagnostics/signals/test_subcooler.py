"""The subcooler's quasi-steady stream at its edges: means, wet gas, and what is not quantified."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from diagnostics.samples import FloatArray
from diagnostics.signals import subcooler
from diagnostics.signals.state import State
from diagnostics.signals.subcooler import Stream
from tests.diagnostics import made
from tests.diagnostics.made import Scene, scene, with_valve

INSIDE = "liquid_temperature_indoor_side"
OUTSIDE = "liquid_temperature_outdoor_side"
DEW_K = float(scene(2).fluid.t_dew_k(0.95e6)[0])
BUBBLE_K = float(scene(2).fluid.t_bubble_k(2.6e6)[0])


def stream_of(s: Scene) -> Stream:
    return subcooler.stream(s.samples, s.states, s.direction, s.fluid, s.plant)


def step(n: int, at: int, before: float, after: float) -> FloatArray:
    return np.where(np.arange(n) < at, before, after)


def test_means_reach_two_minutes_to_either_side() -> None:
    """A step between samples 59 and 60 at 10 s; 25 samples lie within two minutes of any."""
    s = scene(120, outdoor={OUTSIDE: step(120, 60, 310.0, 335.0)})
    entering = stream_of(s).entering_k
    # Every third sample is worked out: numbers 45, 48, …, 72.
    expected = [310.0, 311.0, 314.0, 317.0, 320.0, 323.0, 326.0, 329.0, 332.0, 335.0]
    assert entering[15:25] == pytest.approx(expected)


def test_means_stop_at_every_gap() -> None:
    """Two gaps of an hour; the circuit is another one after each."""
    s = scene(90, outdoor={OUTSIDE: np.repeat([310.0, 311.0, 313.0], 30)})
    seconds = np.arange(90) * 10.0 + np.repeat([0.0, 3600.0, 7200.0], 30)
    late = type(s.samples)(made.record.instants(seconds), s.samples.outdoor, {})
    found = stream_of(made.of(late, s.states, plant=s.plant))
    assert found.entering_k == pytest.approx(np.repeat([310.0, 311.0, 313.0], 10))


def test_means_stop_where_the_circuit_becomes_settled() -> None:
    """Starting is no quasi-steady state, and what comes before and after is kept apart."""
    s = scene(90, outdoor={OUTSIDE: np.repeat([310.0, 350.0, 313.0], 30)})
    code = np.repeat([State.COOLING, State.STARTING, State.COOLING], 30).astype(np.int8)
    found = stream_of(replace(s, states=replace(s.states, state=code)))
    assert found.entering_k[:10] == pytest.approx(np.full(10, 310.0))
    assert np.isnan(found.entering_k[10:20]).all()
    assert found.entering_k[20:] == pytest.approx(np.full(10, 313.0))


def test_means_reach_as_far_after_a_start_as_before_it() -> None:
    """The step of two minutes either way, after five minutes of starting."""
    s = scene(150, outdoor={OUTSIDE: step(150, 90, 310.0, 335.0)})
    code = np.where(np.arange(150) < 30, State.STARTING, State.COOLING).astype(np.int8)
    found = stream_of(replace(s, states=replace(s.states, state=code))).entering_k
    assert np.isnan(found[:10]).all()
    assert found[10:25] == pytest.approx(np.full(15, 310.0))
    assert found[26:30] == pytest.approx([311.0 + 3.0 * i for i in range(4)])


@pytest.mark.parametrize(("code", "sign", "told"), [(State.COOLING, 0, 1), (State.HEATING, 0, -1)])
def test_a_pure_mode_gives_the_direction_where_the_thermistors_are_silent(
    code: State, sign: int, told: int
) -> None:
    found = stream_of(scene(60, code=code, sign=sign))
    assert (found.sign == told).all()
    assert found.entering_k[0] == pytest.approx(312.15 if told > 0 else 298.15)
    mixed = stream_of(scene(60, code=State.SIMULTANEOUS, sign=0))
    assert np.isnan(mixed.entering_k).all()


def test_the_drop_is_along_the_way_of_the_liquid() -> None:
    """Warmer at the indoor side by 14 K, running to the outdoor coil: it cools by 14 K."""
    sides = {OUTSIDE: 298.15, INSIDE: 312.15}
    found = stream_of(scene(60, code=State.HEATING, sign=-1, outdoor=sides))
    assert found.entering_k == pytest.approx(np.full(20, 312.15))
    assert found.leaving_k == pytest.approx(np.full(20, 298.15))
    assert found.suction_pa == pytest.approx(np.full(20, 0.95e6))


@pytest.mark.parametrize(
    ("above_dew_k", "every", "wet"),
    [(0.9, 1, True), (1.1, 1, False), (0.9, 4, False), (0.9, 3, True), (-0.5, 1, True)],
)
def test_gas_is_wet_when_within_a_kelvin_of_saturation_for_over_a_quarter_of_the_time(
    above_dew_k: float, every: int, wet: bool
) -> None:
    """One in four of long enough a row is at most a quarter, one in three is more."""
    numbers = np.arange(400)
    gas = np.where(numbers % every == 0, DEW_K + above_dew_k, DEW_K + 9.0)
    s = scene(400, outdoor={"subcooler_gas_temperature": gas})
    found = stream_of(s).wet[10:-10]
    # 25 samples of which every fourth is wet hold six or seven of them: 24 or 28 %.
    share = found.mean()
    assert share > 0.99 if wet else share < 0.5


def test_without_a_gas_thermistor_nothing_is_wet_and_no_gas_is_known() -> None:
    found = stream_of(scene(60))
    assert np.isnan(found.gas_k).all()
    assert not found.wet.any()
    gas = stream_of(scene(60, outdoor={"subcooler_gas_temperature": 290.0}))
    assert gas.gas_k == pytest.approx(np.full(20, 290.0))


@pytest.mark.parametrize(("offset", "known"), [(1.6, True), (1.4, False)])
def test_liquid_within_a_kelvin_and_a_half_of_its_bubble_point_may_flash(
    offset: float, known: bool
) -> None:
    s = scene(60, outdoor={OUTSIDE: BUBBLE_K - offset})
    at = stream_of(s)
    ratio = subcooler.bypass_ratio(at, np.ones(20), s.fluid)
    assert np.isfinite(ratio.value[10]) == known


@pytest.mark.parametrize(
    ("drop", "known"), [(0.44, True), (0.42, False), (0.0, False), (-14.0, False)]
)
def test_a_drop_counts_where_it_is_good_to_a_third(drop: float, known: bool) -> None:
    """0.15 K of doubt are 35 % of 0.43 K."""
    s = scene(60, outdoor={INSIDE: 312.15 - drop})
    ratio = subcooler.bypass_ratio(stream_of(s), np.ones(20), s.fluid)
    assert np.isfinite(ratio.value[10]) == known


@pytest.mark.parametrize(("gas_k", "taken"), [(DEW_K - 3.0, DEW_K + 0.1), (DEW_K + 5.0, None)])
def test_gas_is_never_colder_than_its_dew_point(gas_k: float, taken: float | None) -> None:
    s = scene(60, outdoor={"subcooler_gas_temperature": gas_k})
    at = replace(stream_of(s), wet=np.zeros(20, bool))
    h, sigma = subcooler._gas_enthalpy(at, s.fluid)
    p = np.full(1, 0.95e6)
    expected = float(s.fluid.h_vapour_j_kg(p, np.full(1, taken or gas_k))[0])
    assert h[10] == pytest.approx(expected)
    # 1.5 K of gas of 1.1 to 1.4 kJ/(kg K), R-410A at 0.95 MPa near saturation.
    assert 1.5 * 1100.0 < sigma[10] < 1.5 * 1400.0


def test_liquid_colder_than_the_dew_point_leaves_gas_a_kelvin_to_lie_in() -> None:
    s = scene(60, outdoor={OUTSIDE: DEW_K - 5.0, INSIDE: DEW_K - 8.0})
    h, sigma = subcooler._gas_enthalpy(stream_of(s), s.fluid)
    p = np.full(1, 0.95e6)
    middle = float(s.fluid.h_vapour_j_kg(p, np.full(1, DEW_K + 0.5))[0])
    assert h[10] == pytest.approx(middle)
    dew = float(s.fluid.h_dew_j_kg(p)[0])
    assert sigma[10] == pytest.approx((middle - dew) / 2.0)


def test_the_instant_s_doubt_is_half_that_of_the_pressures_and_the_stepper_s() -> None:
    """The root of a drop: 26 kPa of 1.65 MPa count half. Six pulses of 480 over the travel of an
    opening of 0.4, counted in opening: 0.4 less a twelfth."""
    at = stream_of(scene(60))
    expected = np.hypot(26e3 / (2 * 1.65e6), (6 / 480) / (0.4 - 40 / 480))
    assert subcooler.instant_sigma(at)[10] == pytest.approx(expected, rel=1e-3)


def test_the_bypass_is_as_sure_as_size_power_and_start_of_its_curve() -> None:
    """Throat area from the manifest: 12 %, a power good to 0.15, a start good to ten pulses."""
    s = scene(60)
    at = stream_of(s)
    found = subcooler.bypass(at, s.plant)
    travel = (0.4 - 40 / 480) / (1 - 40 / 480)
    doubts = [0.12, 0.15 * np.log(travel), (10 / 480) / (0.4 - 40 / 480)]
    doubts.append(float(subcooler.instant_sigma(at)[10]))
    assert found.sigma[10] == pytest.approx(np.linalg.norm(doubts), rel=1e-6)
    scaled = subcooler.bypass(at, with_valve(None))
    doubts[0] = 0.25
    assert scaled.sigma[10] == pytest.approx(np.linalg.norm(doubts), rel=1e-6)


def test_pressures_that_meet_drive_no_bypass() -> None:
    s = scene(60, outdoor={"suction_pressure": 2.6e6})
    at = stream_of(s)
    assert at.bypass_kg_s == pytest.approx(np.zeros(20))
    assert np.isnan(subcooler.bypass(at, s.plant).value).all()


@pytest.mark.parametrize(("sign", "middle"), [(1.0, 2.6e6), (0.0, 2.6e6), (-1.0, 2.6e6)])
def test_liquid_said_hotter_than_saturation_is_at_discharge_pressure(
    sign: float, middle: float
) -> None:
    """Such liquid does not exist; the line cannot be above what drives it."""
    s = scene(2)
    found, sigma = subcooler._line_pressure(
        np.full(1, BUBBLE_K + 3.0), np.full(1, 2.6e6), np.full(1, sign), s.fluid
    )
    assert found == pytest.approx([middle])
    assert sigma == pytest.approx([26e3 if sign > 0 else 0.0])
