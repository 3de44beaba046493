"""Checks of the instruments at their edges, against sums done by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from diagnostics.samples import FloatArray, Samples
from diagnostics.signals import compressor, instruments
from diagnostics.signals.compressor import SuctionGas
from diagnostics.signals.instruments import INDOOR_SIDE, OUTDOOR_SIDE, Instruments
from diagnostics.signals.state import State, States
from tests.diagnostics import made, record
from tests.diagnostics.made import Scene, scene

AIR_K = 293.15
FLUID = scene(2).fluid


def check(s: Scene) -> Instruments:
    return instruments.check(s.samples, s.timebase, s.states, s.direction, s.fluid, s.plant)


def first_known(values: FloatArray) -> int:
    return int(np.flatnonzero(np.isfinite(values))[0])


def test_pressures_have_three_quarters_of_an_hour_to_meet_and_pipes_two_hours() -> None:
    rest = {
        "compressor_speed": 0.0,
        "discharge_pressure": 1.50e6,
        "suction_pressure": 1.44e6,
        "outdoor_air_temperature": AIR_K,
        OUTDOOR_SIDE: AIR_K + 0.5,
        INDOOR_SIDE: AIR_K - 0.7,
        "suction_temperature": AIR_K + 0.2,
    }
    found = check(scene(800, outdoor=rest, code=State.OFF))
    for values in (found.standstill_difference_pa, found.standstill_suction_k):
        assert first_known(values) == 270
    assert found.standstill_difference_pa[-1] == pytest.approx(60e3)
    bubble = float(FLUID.t_bubble_k(1.50e6)[0])
    assert found.standstill_discharge_k[-1] == pytest.approx(bubble - AIR_K)
    low = float(FLUID.t_bubble_k(1.44e6)[0])
    assert found.standstill_suction_k[-1] == pytest.approx(low - AIR_K)
    assert np.flatnonzero(found.resting)[0] == 720
    for values, above in (
        (found.resting_outdoor_side_k, 0.5),
        (found.resting_indoor_side_k, -0.7),
        (found.resting_suction_k, 0.2),
    ):
        assert first_known(values) == 720
        assert values[-1] == pytest.approx(above)
    assert np.isnan(found.above_saturation_k).all()
    airless = check(scene(800, outdoor=rest | {"outdoor_air_temperature": np.nan}, code=State.OFF))
    assert not airless.resting.any()
    assert np.isfinite(airless.standstill_difference_pa[-1])


def test_what_runs_does_not_rest() -> None:
    found = check(scene(800))
    assert not found.resting.any()
    assert np.isnan(found.standstill_difference_pa).all()


def test_liquid_may_be_twice_its_uncertainty_above_saturation() -> None:
    """0.9 K twice: thermistor 0.5 K and transducer 0.7 K; the hotter of both sides counts."""
    bubble = float(FLUID.t_bubble_k(2.6e6)[0])
    for hot in (OUTDOOR_SIDE, INDOOR_SIDE):
        found = check(scene(40, outdoor={hot: bubble + 2.0}))
        assert found.above_saturation_k == pytest.approx(np.full(40, 0.2))


def test_a_discharge_is_held_against_the_dew_point() -> None:
    dew = float(FLUID.t_dew_k(2.6e6)[0])
    found = check(scene(40, outdoor={"discharge_temperature": dew + 30.0}))
    assert found.discharge_below_condensing_k == pytest.approx(np.full(40, -30.0))


@pytest.mark.parametrize(("opening", "opened"), [(0.152, True), (0.148, False)])
def test_a_valve_is_open_from_fifteen_per_cent(opening: float, opened: bool) -> None:
    found = check(scene(60, outdoor={"subcooler_valve": opening}))
    assert np.isfinite(found.drop_valve_open_k).all() == opened
    assert np.isnan(found.drop_valve_closed_k).all()


def test_a_valve_is_open_by_the_mean_of_six_minutes_and_not_while_it_is_closed() -> None:
    """From 0 to 0.3: half of 37 readings, the 19th one, makes 0.15; closed it is no more open."""
    opening = np.where((np.arange(200) >= 60) & (np.arange(200) < 120), 0.3, 0.0)
    found = check(scene(200, outdoor={"subcooler_valve": opening}))
    known = np.flatnonzero(np.isfinite(found.expected_drop_k))
    assert (known[0], known[-1]) == (78, 119)


@pytest.mark.parametrize(("opening", "closed"), [(0.01, True), (0.011, False)])
def test_a_valve_is_closed_at_one_per_cent_for_three_minutes(opening: float, closed: bool) -> None:
    turned = np.where(np.arange(100) < 40, 0.3, opening)
    found = check(scene(100, outdoor={"subcooler_valve": turned}))
    known = np.flatnonzero(np.isfinite(found.drop_valve_closed_k))
    assert known.tolist() == (list(range(58, 100)) if closed else [])


def flow_of(speed: float) -> float:
    gas = SuctionGas(*(np.array([x]) for x in (speed, 0.95e6, 2.6e6, 284.0)))
    return float(
        compressor.estimate(made.with_valve().compressor_displacement_m3, gas, FLUID).flow_kg_s[0]
    )


@pytest.mark.parametrize("opening", [0.15, 0.2])
def test_the_expected_drop_is_what_the_bypass_takes_up_of_the_compressor_s_flow(
    opening: float,
) -> None:
    """Orifice of 2.2 mm2 opened beyond a twelfth; evaporated from liquid to dew point; over the
    liquid's own heat per kelvin between 29 and 39 degC."""
    found = check(scene(60, outdoor={"subcooler_valve": opening})).expected_drop_k[30]
    rho = float(FLUID.rho_liquid_kg_m3(312.15, 2.6e6)[0])
    bypass = 0.65 * 2.2e-6 * (opening - 1 / 12) / (11 / 12) * np.sqrt(2 * rho * 1.65e6)
    h, colder = (float(FLUID.h_liquid_j_kg(t, 2.6e6)[0]) for t in (312.15, 302.15))
    heat = (float(FLUID.h_dew_j_kg(0.95e6)[0]) - h) / ((h - colder) / 10.0)
    assert found == pytest.approx(bypass / flow_of(60.0) * heat, rel=1e-6)


def test_the_expected_drop_ends_a_twentieth_above_the_evaporating_temperature() -> None:
    found = check(scene(60, outdoor={"subcooler_valve": 1.0, "compressor_speed": 10.0}))
    reach = 312.15 - float(FLUID.t_dew_k(0.95e6)[0])
    assert found.expected_drop_k[30] == pytest.approx(0.95 * reach)
    # Liquid said hotter than saturation enters as saturated.
    hot = check(
        scene(60, outdoor={"subcooler_valve": 1.0, "compressor_speed": 10.0, OUTDOOR_SIDE: 330.0})
    )
    bubble = float(FLUID.t_bubble_k(2.6e6)[0])
    expected = 0.95 * (bubble - float(FLUID.t_dew_k(0.95e6)[0]))
    assert hot.expected_drop_k[30] == pytest.approx(expected)


def closed(difference: FloatArray, way: FloatArray, speed: FloatArray) -> Instruments:
    """Valve closed throughout; no way is a standstill."""
    n = difference.size
    outdoor = made.SUBCOOLER | {
        "subcooler_valve": 0.0,
        "compressor_speed": speed,
        OUTDOOR_SIDE: 310.0 + difference,
        INDOOR_SIDE: 310.0,
    }
    running = way != 0
    code = np.select([way > 0, way < 0], [State.COOLING, State.HEATING], State.OFF)
    states = States(code.astype(np.int8), running, running, way.astype(np.int8))
    return check(made.of(record.running(n, 10.0, outdoor), states))


PER_SAMPLE = (10.0 / 1800.0) / 0.4**2
"""What a reading of 10 s is worth: half an hour is good to 0.4 K."""


def test_at_one_flow_offset_and_leak_share_the_difference_by_their_priors() -> None:
    """0.7 and 6 K: of what data tell of their sum the leak takes 36 parts and the offset 0.49.
    The first three minutes do not count, the valve having just been closed."""
    n = 378
    found = closed(np.full(n, 4.0), np.ones(n), np.full(n, 50.0))
    told = 360 * PER_SAMPLE
    common = 4.0 * told / (1.0 + told * (36.0 + 0.49))
    assert found.leak_k == pytest.approx(36.0 * common)
    assert found.offset_k == pytest.approx(0.49 * common)
    variance = 36.0 - 36.0**2 * told / (1.0 + told * 36.49)
    assert found.leak_sigma_k == pytest.approx(np.sqrt(variance))
    assert np.nanmean(found.drop_valve_closed_k) == pytest.approx(4.0 - 0.49 * common)


def test_a_thin_stream_counts_three_times_at_most_and_standstill_not_at_all() -> None:
    """Least squares of rows (1, way * usual / flow), the priors as two rows more. A fifth of the
    time at a ninth of the usual speed, a fifth at five times of it, an hour of rest."""
    way = np.r_[np.ones(900), np.zeros(360)]
    speed = np.r_[np.full(540, 20.0), np.full(180, 2.2), np.full(180, 100.0), np.zeros(360)]
    rng = np.random.default_rng(4)
    difference = 0.5 + rng.normal(0.0, 0.3, 1260) + np.r_[np.full(900, 1.0), np.zeros(360)]
    found = closed(difference, way, speed)
    used = np.r_[np.arange(18, 900), np.arange(900 + 270, 1260)]
    flow = np.array([flow_of(s) for s in (20.0, 2.2, 100.0)])
    ratio = np.clip(flow[0] / flow, 0.3, 3.0)
    assert ratio.tolist()[1:] == [3.0, 0.3]
    x = np.r_[np.repeat(ratio, [540, 180, 180]), np.zeros(360)][used]
    root = np.sqrt(PER_SAMPLE)
    rows = np.column_stack([np.ones(used.size), x]) * root
    rows = np.vstack([rows, [1 / 0.7, 0.0], [0.0, 1 / 6.0]])
    target = np.r_[difference[used] * root, 0.0, 0.0]
    offset, leak = np.linalg.lstsq(rows, target, rcond=None)[0]
    assert (found.offset_k, found.leak_k) == pytest.approx((offset, leak), rel=1e-6)


def test_at_standstill_alone_the_difference_is_the_offset() -> None:
    n = 400
    difference = np.where(np.arange(n) < 270, 9.0, 0.8)
    found = closed(difference, np.zeros(n), np.zeros(n))
    assert found.offset_k == pytest.approx(0.8)
    assert np.isnan([found.leak_k, found.leak_sigma_k]).all()
    nothing = closed(np.full(100, 0.8), np.zeros(100), np.zeros(100))
    assert nothing.offset_k == 0.0


def swaying(amplitude_k: float, answer: float, air_k: float = AIR_K) -> FloatArray:
    """How far the outdoor side is off its pipe when saturation sways by 318 K -/+ amplitude in
    five minutes, and the thermistor, half way to the air, by ``answer`` of it."""
    n = 720
    wave = amplitude_k * np.sin(2 * np.pi * np.arange(n) / 30.0)
    outdoor = {
        "discharge_pressure": FLUID.p_bubble_pa(318.0 + wave),
        OUTDOOR_SIDE: (318.0 + air_k) / 2.0 + answer * wave,
        "outdoor_air_temperature": air_k,
    }
    return check(scene(n, outdoor=outdoor)).outdoor_side_tracks_air


@pytest.mark.parametrize(("amplitude_k", "known"), [(1.18, False), (1.30, True)])
def test_saturation_must_move_by_eight_tenths_to_ask_for_an_answer(
    amplitude_k: float, known: bool
) -> None:
    """Root mean square: 0.707 of the amplitude, of which the mean of a minute leaves 0.914."""
    assert np.isfinite(swaying(amplitude_k, 0.1)).all() == known


@pytest.mark.parametrize(
    ("answer", "off"), [(0.2, 0.2), (0.15, 0.4), (0.25, 0.0), (0.5, 0.0), (0.0, 0.5)]
)
def test_an_answer_short_of_a_quarter_is_missed_in_part(answer: float, off: float) -> None:
    """The smaller of that and the nearness to air, here a half."""
    found = swaying(3.0, answer)
    assert np.median(found) == pytest.approx(off, abs=0.02)


def test_where_saturation_is_within_two_kelvin_of_air_nothing_is_told() -> None:
    assert np.isfinite(swaying(1.5, 0.1, air_k=314.0)).all()
    near = swaying(1.5, 0.1, air_k=315.5)
    # 2.5 K away in the middle, and less than 2 K for about a third of every sway.
    assert 0.5 < np.isfinite(near).mean() < 0.8


def test_a_thermistor_is_judged_by_what_it_does_while_the_system_runs() -> None:
    s = scene(720)
    wave = 3.0 * np.sin(2 * np.pi * np.arange(720) / 30.0)
    outdoor = dict(s.samples.outdoor) | {
        "discharge_pressure": FLUID.p_bubble_pa(318.0 + wave),
        "outdoor_air_temperature": np.full(720, AIR_K),
    }
    resting = made.states(720, State.OFF)
    samples = Samples(s.samples.time, outdoor, {})
    found = check(replace(s, samples=samples, states=resting))
    assert np.isnan(found.outdoor_side_tracks_air).all()
