"""The parts of the liquid's flow, against sums done by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from diagnostics.plant import BranchSide
from diagnostics.signals import liquid_flow, subcooler
from diagnostics.signals.state import State
from diagnostics.signals.subcooler import Logarithm, Stream
from tests.diagnostics.made import Scene, scene, with_valve

NO_DROP = {"liquid_temperature_indoor_side": 312.15}


def stream_of(s: Scene) -> Stream:
    return subcooler.stream(s.samples, s.states, s.direction, s.fluid, s.plant)


def share_of_compressor(s: Scene) -> float:
    flow = liquid_flow.estimate(s.samples, s.states, s.direction, s.fluid, s.plant)
    return float(flow.main_kg_s[180] / flow.compressor_kg_s[180])


@pytest.mark.parametrize(
    ("side", "valve", "share"),
    [
        (None, 0.4, 1.35**-0.5),
        (BranchSide.OUTDOOR, 0.4, 1.35**-0.5),
        (BranchSide.INDOOR, 0.4, 1.0),
        (BranchSide.OUTDOOR, 0.0, 1.0),
    ],
)
def test_without_a_drop_an_open_valve_may_pass_a_third_of_the_stream(
    side: BranchSide | None, valve: float, share: float
) -> None:
    """Between 1 and 1/1.35 of the compressor's flow, in the middle of their logarithms."""
    s = scene(plant=with_valve(side=side), outdoor=NO_DROP | {"subcooler_valve": valve})
    assert share_of_compressor(s) == pytest.approx(share, rel=1e-6)


def test_an_unknown_side_is_the_middle_of_both_and_adds_a_quarter_of_their_distance() -> None:
    s = scene(outdoor={"subcooler_gas_temperature": 290.0})
    at = stream_of(s)
    up, down, open_ended = (
        subcooler.bypass_ratio(at, np.full(at.sign.size, side), s.fluid)
        for side in (1.0, -1.0, 0.0)
    )
    assert open_ended.value[60] == pytest.approx((up.value[60] + down.value[60]) / 2)
    apart = (np.exp(up.value[60] - down.value[60]) - 1.0) / 4.0
    assert open_ended.sigma[60] == pytest.approx(np.hypot(up.sigma[60], apart))


def test_the_ratio_is_as_sure_as_its_drop_and_its_gas() -> None:
    """0.15 K of 14 K, and 1.5 K of gas at its mean heat since the dew point, as a share of what
    the bypass takes up."""
    s = scene(outdoor={"subcooler_gas_temperature": 290.0})
    at = stream_of(s)
    found = subcooler.bypass_ratio(at, np.ones(at.sign.size), s.fluid)
    low, high = np.full(1, 0.95e6), np.full(1, 2.6e6)
    dew_k, h_dew = float(s.fluid.t_dew_k(low)[0]), float(s.fluid.h_dew_j_kg(low)[0])
    gas = float(s.fluid.h_vapour_j_kg(low, np.full(1, 290.0))[0])
    entering = float(s.fluid.h_liquid_j_kg(np.full(1, 312.15), high)[0])
    gas_share = 1.5 * (gas - h_dew) / (290.0 - dew_k) / (gas - entering)
    assert found.sigma[60] == pytest.approx(np.hypot(0.15 / 14.0, gas_share))


def test_wet_gas_carries_a_tenth_more_than_saturated_vapour_would() -> None:
    s = scene(outdoor={"subcooler_gas_temperature": 290.0})
    at = stream_of(s)
    at = replace(at, wet=np.ones(at.sign.size, bool))
    found = subcooler.bypass_ratio(at, np.ones(at.sign.size), s.fluid)
    dew = float(s.fluid.h_dew_j_kg(np.full(1, 0.95e6))[0])
    h = [
        float(s.fluid.h_liquid_j_kg(np.full(1, t), np.full(1, 2.6e6))[0]) for t in (312.15, 298.15)
    ]
    assert found.value[60] == pytest.approx(np.log((h[0] - h[1]) / (dew - h[0])) + 0.1, rel=1e-6)
    assert found.sigma[60] == pytest.approx(np.hypot(0.15 / 14.0, 0.15))


def test_gas_without_a_thermistor_lies_between_dew_point_and_liquid() -> None:
    s = scene()
    at = stream_of(s)
    h, sigma = subcooler._gas_enthalpy(at, s.fluid)
    dew = float(s.fluid.t_dew_k(np.full(1, 0.95e6))[0])
    middle = (dew + 312.15) / 2.0
    assert h[60] == pytest.approx(
        float(s.fluid.h_vapour_j_kg(np.full(1, 0.95e6), np.full(1, middle))[0])
    )
    h_dew = float(s.fluid.h_dew_j_kg(np.full(1, 0.95e6))[0])
    # A quarter of the whole range is half of the rise from the dew point to its middle.
    assert sigma[60] == pytest.approx((h[60] - h_dew) / 2.0)


@pytest.mark.parametrize(
    ("learned", "sigma"), [(0.4, 0.4), (0.05, 0.15), (2.0, 0.5 * 2**0.5), (np.nan, 0.5 * 2**0.5)]
)
def test_a_drop_is_as_sure_as_the_offset_learned_within_the_class_of_thermistors(
    learned: float, sigma: float
) -> None:
    way = replace(scene(10).direction, offset_sigma_k=learned)
    assert subcooler._drop_sigma_k(way) == pytest.approx(sigma)


@pytest.mark.parametrize(
    ("sign", "middle", "sigma"), [(1, 1.0, 0.01), (-1, 0.9, 0.05), (0, 0.9, 0.05)]
)
def test_liquid_from_the_rooms_lies_between_saturation_and_discharge(
    sign: int, middle: float, sigma: float
) -> None:
    """Saturation at 0.8 of the discharge pressure: the middle 0.9, a quarter of 0.2 for sigma."""
    s = scene(10)
    discharge = np.full(1, 2.6e6)
    entering = s.fluid.t_bubble_k(0.8 * discharge)
    found = subcooler._line_pressure(entering, discharge, np.full(1, float(sign)), s.fluid)
    assert found[0] == pytest.approx(middle * discharge, rel=1e-4)
    assert found[1] == pytest.approx(sigma * discharge, rel=1e-3)


@pytest.mark.parametrize(
    ("speed", "sigma"), [(10.0, np.hypot(0.1, 0.15)), (27.5, np.hypot(0.1, 0.15)), (27.6, 0.1)]
)
def test_hot_gas_is_doubted_up_to_a_quarter_of_the_speed(speed: float, sigma: float) -> None:
    found = liquid_flow._with_hot_gas(
        Logarithm(np.zeros(1), np.full(1, 0.1)), np.full(1, speed), with_valve()
    )
    assert found.sigma == pytest.approx([sigma])


def test_no_stream_is_more_than_the_compressor_moves_at_most() -> None:
    """Too much, known, not known; and nothing known of the compressor either."""
    most = np.array([0.2, 0.2, 0.2, np.nan])
    middle, low, high = liquid_flow._limited(
        np.array([0.3, 0.1, np.nan, np.nan]),
        np.array([0.25, 0.05, np.nan, np.nan]),
        np.array([0.4, 0.15, np.nan, np.nan]),
        most,
    )
    np.testing.assert_array_equal(middle, [0.2, 0.1, np.nan, np.nan])
    np.testing.assert_array_equal(low, [0.2, 0.05, 0.0, np.nan])
    np.testing.assert_array_equal(high, [0.2, 0.15, 0.2, np.nan])


def test_two_that_disagree_widen_their_mean_by_the_birge_ratio() -> None:
    """Equal sigmas of 0.1 make 0.0707; 0.4 apart, chi square is 8, and 0.2 is left."""
    one, other = (Logarithm(np.array([v]), np.array([0.1])) for v in (0.0, 0.4))
    found = liquid_flow.combine(one, other)
    assert (found.value[0], found.sigma[0]) == pytest.approx((0.2, 0.2))
    near = liquid_flow.combine(one, Logarithm(np.array([0.1]), np.array([0.2])))
    assert (near.value[0], near.sigma[0]) == pytest.approx((0.02, 125**-0.5))


@pytest.mark.parametrize(("values", "known"), [(2.0, True), (0.0, False), (-1.0, False)])
def test_a_logarithm_is_of_positive_quantities_only(values: float, known: bool) -> None:
    found = subcooler.logarithm(np.array([values]), np.array([0.1]), np.array([True]))
    assert np.isfinite(found.value[0]) == np.isfinite(found.sigma[0]) == known
    for sigma, usable in ((np.nan, True), (0.1, False)):
        unknown = subcooler.logarithm(np.array([2.0]), np.array([sigma]), np.array([usable]))
        assert np.isnan(unknown.value[0])


def test_with_the_valve_closed_the_bounds_are_the_compressor_s() -> None:
    """Its two bounds are four standard uncertainties of the logarithm apart; a valve after the
    subcooler takes nothing from the stream."""
    closed = NO_DROP | {"subcooler_valve": 0.0}
    s = scene(plant=with_valve(side=BranchSide.INDOOR), outdoor=closed)
    flow = liquid_flow.estimate(s.samples, s.states, s.direction, s.fluid, s.plant)
    spread = np.sqrt(flow.compressor_high_kg_s / flow.compressor_low_kg_s)[180]
    assert flow.low_kg_s[180] == pytest.approx(flow.main_kg_s[180] / spread)
    expected = min(flow.main_kg_s[180] * spread, flow.compressor_high_kg_s[180])
    assert flow.high_kg_s[180] == pytest.approx(expected)


def test_a_flow_is_quantified_while_good_to_a_factor_of_two() -> None:
    """Twice 0.35 either way is e^1.4 from bound to bound."""
    widths: dict[bool, list[float]] = {True: [], False: []}
    for opening in np.linspace(0.12, 0.6, 25):
        s = scene(30, code=State.SIMULTANEOUS, outdoor={"subcooler_valve": float(opening)})
        s = replace(s, plant=replace(s.plant, compressor_displacement_m3=1.0))
        flow = liquid_flow.estimate(s.samples, s.states, s.direction, s.fluid, s.plant)
        widths[bool(flow.quantified[15])].append(float(flow.high_kg_s[15] / flow.low_kg_s[15]))
    assert max(widths[True]) < np.exp(1.4) < min(widths[False])
    assert max(widths[True]) > np.exp(1.2)
    assert min(widths[False]) < np.exp(1.6)


def calibrated(departure: float, sigma: float, spacing_s: float, count: int) -> Logarithm:
    """The valve passes ``departure`` more than it should, by so many readings of one opening."""
    s = scene(3 * count)
    at = stream_of(s)
    plain = subcooler.bypass(at, s.plant)
    ratio = Logarithm(np.full(count, -2.0), np.full(count, 0.6 * sigma))
    whole = Logarithm(plain.value + 2.0 + departure, np.full(count, 0.8 * sigma))
    found = liquid_flow._calibrated_bypass(at, ratio, whole, s.plant, spacing_s)
    return Logarithm(found.value - plain.value, found.sigma)


def test_many_half_hours_calibrate_a_valve_to_what_they_have_in_common() -> None:
    """Their own errors average out; 8 % and the moment's doubt are left."""
    found = calibrated(0.3, 0.05, 1800.0, 2000)
    at = stream_of(scene(60))
    moment = float(subcooler.instant_sigma(at)[10])
    assert found.value == pytest.approx(np.full(2000, 0.3), abs=1e-3)
    assert found.sigma[1000] == pytest.approx(np.hypot(moment, 0.08), rel=1e-3)


@pytest.mark.parametrize(("spacing_s", "half_hours"), [(18.0, 1.0), (1800.0, 100.0), (7200.0, 100)])
def test_readings_closer_than_half_an_hour_count_as_their_part_of_it(
    spacing_s: float, half_hours: float
) -> None:
    """The uncalibrated curve is a prior about no departure, and each half hour is good to 0.5
    and the moment's doubt: inverse variances add up."""
    s = scene(300)
    at = stream_of(s)
    moment = float(subcooler.instant_sigma(at)[50])
    prior = float(subcooler.bypass(at, s.plant).sigma[50]) ** 2 - moment**2
    data = (0.25 + moment**2) / half_hours
    found = calibrated(0.3, 0.5, spacing_s, 100)
    assert found.value[50] == pytest.approx(0.3 * prior / (prior + data))
    variance = prior * data / (prior + data)
    assert found.sigma[50] == pytest.approx(np.sqrt(variance + moment**2 + 0.08**2))


def test_a_closed_valve_has_no_bypass_to_calibrate() -> None:
    s = scene(30, outdoor={"subcooler_valve": 0.0})
    at = stream_of(s)
    one = Logarithm(np.zeros(10), np.ones(10))
    found = liquid_flow._calibrated_bypass(at, one, one, s.plant, 30.0)
    assert np.isnan(found.value).all()
    assert np.isnan(found.sigma).all()


def test_the_main_stream_of_a_branch_before_the_subcooler_lacks_the_bypass() -> None:
    """A ratio of 0.15 leaves 1/1.15; one said to be 0.6 is taken as 0.35, the most there is."""
    s = scene(30)
    at = stream_of(s)
    flow = liquid_flow._compressor(s.samples, s.states, s.fluid, s.plant)
    known = liquid_flow._from_compressor
    for ratio, side, share in (
        (0.15, 1.0, 1 / 1.15),
        (0.6, 1.0, 1 / 1.35),
        (0.15, -1.0, 1.0),
        (0.15, 0.0, 1.15**-0.5),
    ):
        given = Logarithm(np.full(10, np.log(ratio)), np.full(10, 0.1))
        found = known(flow, given, np.full(10, side), at, 3)
        assert np.exp(found.value[5]) == pytest.approx(share * flow.flow_kg_s[0])
        own = np.log(flow.high_kg_s[0] / flow.low_kg_s[0]) / 4
        between = np.log(1.15) / 4 if side == 0.0 else 0.0
        assert found.sigma[5] == pytest.approx(np.hypot(own, between))


def test_two_coarse_ones_that_disagree_widen_as_well() -> None:
    """Sigmas of 2, 10 apart: chi square 12.5, and 1.414 becomes 5."""
    one, other = (Logarithm(np.array([v]), np.array([2.0])) for v in (0.0, 10.0))
    found = liquid_flow.combine(one, other)
    assert (found.value[0], found.sigma[0]) == pytest.approx((5.0, 5.0))


def test_a_starting_circuit_has_no_quasi_steady_flow() -> None:
    """What the compressor moves is known all the same."""
    s = scene(60)
    code = np.full(60, State.STARTING, np.int8)
    s = replace(s, states=replace(s.states, state=code))
    flow = liquid_flow.estimate(s.samples, s.states, s.direction, s.fluid, s.plant)
    assert not flow.quantified.any()
    assert np.isfinite(flow.compressor_kg_s).all()
    assert flow.low_kg_s == pytest.approx(np.zeros(60))
    assert flow.high_kg_s == pytest.approx(flow.compressor_high_kg_s)
