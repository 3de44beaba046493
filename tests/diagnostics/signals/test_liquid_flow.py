"""Flow of liquid: worked balances, bounds, and how the two relations are combined."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from diagnostics import refrigerant
from diagnostics.plant import BranchSide, Refrigerant
from diagnostics.signals import liquid_flow, subcooler, valve
from diagnostics.signals.liquid_flow import LiquidFlow
from diagnostics.signals.state import State
from diagnostics.signals.subcooler import Logarithm
from tests.diagnostics import made
from tests.diagnostics.made import Scene, scene, with_valve

R410A = refrigerant.fluid(Refrigerant.R410A)


def estimate(s: Scene) -> LiquidFlow:
    """The flow of a scene."""
    return liquid_flow.estimate(s.samples, s.states, s.direction, s.fluid, s.plant)


def balance(p_pa: float, entering_c: float, leaving_c: float, suction_pa: float) -> np.ndarray:
    """Ratios of the worked examples, branch upstream and downstream, outlet with 5 K superheat."""
    h_u, h_d = (R410A.h_liquid_j_kg(t + 273.15, p_pa) for t in (entering_c, leaving_c))
    h_o = R410A.h_vapour_j_kg(suction_pa, R410A.t_dew_k(suction_pa) + 5.0)
    return np.concatenate(
        [
            subcooler.ratio_branch_upstream(h_u, h_d, h_o),
            subcooler.ratio_branch_downstream(h_u, h_d, h_o),
        ]
    )


def test_the_worked_subcooler_balance() -> None:
    """R-410A, 2.60 MPa, 39 to 25 degC, 0.95 MPa, 5 K: ratios 0.15060 and 0.13089."""
    assert balance(2.60e6, 39, 25, 0.95e6) == pytest.approx([0.15060, 0.13089], rel=2e-3)


def test_the_worked_balance_with_little_drop() -> None:
    """R-410A, 2.40 MPa, 36 to 34 degC, 0.90 MPa, 5 K: ratios 0.02157 and 0.02111."""
    assert balance(2.40e6, 36, 34, 0.90e6) == pytest.approx([0.02157, 0.02111], rel=1e-2)


def test_error_of_two_thermistors() -> None:
    """s sqrt(2) / drop: 0.5 K gives 5.1 % at 14 K; at 2 K 35 %, the most that is quantified."""
    sigma = subcooler.THERMISTOR_SIGMA_K * np.sqrt(2)
    assert sigma / 14 == pytest.approx(0.051, abs=5e-4)
    assert sigma / 2 == pytest.approx(subcooler.LARGEST_DROP_ERROR, abs=5e-3)


@pytest.mark.parametrize(
    ("side", "sign", "expected"),
    [
        (BranchSide.OUTDOOR, 1, 0.15060),
        (BranchSide.INDOOR, 1, 0.13089),
    ],
)
def test_the_branch_side_and_the_direction_choose_the_balance(
    side: BranchSide, sign: int, expected: float
) -> None:
    gas_k = float(R410A.t_dew_k(0.95e6)[0]) + 5.0
    s = scene(plant=with_valve(side=side), sign=sign, outdoor={"subcooler_gas_temperature": gas_k})
    assert estimate(s).bypass_ratio[180] == pytest.approx(expected, rel=3e-3)


def test_an_unknown_branch_side_keeps_both_bounds() -> None:
    gas_k = float(R410A.t_dew_k(0.95e6)[0]) + 5.0
    outdoor = {"subcooler_gas_temperature": gas_k}
    known = (estimate(scene(plant=with_valve(side=x), outdoor=outdoor)) for x in BranchSide)
    upstream, downstream = (flow.main_kg_s[180] for flow in known)
    open_ended = estimate(scene(plant=with_valve(side=None), outdoor=outdoor))
    assert upstream < open_ended.main_kg_s[180] < downstream
    assert open_ended.low_kg_s[180] < upstream
    assert open_ended.high_kg_s[180] >= 0.999 * downstream


def test_pure_cooling_with_the_branch_after_the_subcooler_carries_the_whole_flow() -> None:
    closed = {"subcooler_valve": 0.0, "liquid_temperature_indoor_side": 312.15}
    flow = estimate(scene(plant=with_valve(side=BranchSide.INDOOR), outdoor=closed))
    assert flow.main_kg_s[180] == pytest.approx(flow.compressor_kg_s[180])


def test_pure_heating_with_the_branch_before_the_subcooler_carries_less() -> None:
    """To the outdoor coil the indoor side comes first: main is 1/(1 + ratio) of the whole."""
    swapped = {
        "liquid_temperature_outdoor_side": 298.15,
        "liquid_temperature_indoor_side": 312.15,
    }
    s = scene(
        outdoor=swapped, code=State.HEATING, sign=-1, plant=with_valve(3e-6, BranchSide.INDOOR)
    )
    flow = estimate(s)
    share = flow.main_kg_s[180] / flow.compressor_kg_s[180]
    assert 0.80 < share < 1.0


def test_simultaneous_operation_rests_on_the_balance_alone() -> None:
    """Valve wide open, where even an uncalibrated one can be quantified."""
    open_wide = {"subcooler_valve": 0.85, "compressor_speed": 110.0}
    flow = estimate(scene(code=State.SIMULTANEOUS, outdoor=open_wide, plant=with_valve(1.2e-6)))
    assert flow.quantified[180]
    assert flow.main_kg_s[180] == pytest.approx(flow.balance_kg_s[180], rel=1e-9)
    assert flow.low_kg_s[180] < flow.main_kg_s[180] / 1.2
    assert flow.high_kg_s[180] > flow.main_kg_s[180] * 1.2


def test_a_closed_valve_leaves_simultaneous_flow_open_up_to_the_compressors() -> None:
    flow = estimate(scene(code=State.SIMULTANEOUS, outdoor={"subcooler_valve": 0.0}))
    assert not flow.quantified[180]
    assert np.isnan(flow.main_kg_s[180])
    assert flow.low_kg_s[180] == 0.0
    assert flow.high_kg_s[180] == flow.compressor_high_kg_s[180]


@pytest.mark.parametrize(
    "changes",
    [
        {"subcooler_valve": 0.09},
        {"liquid_temperature_outdoor_side": 315.2},
        {"liquid_temperature_indoor_side": 311.9},
    ],
    ids=["next to the dead band", "inlet about to flash", "drop within the thermistors' error"],
)
def test_what_cannot_be_quantified_by_the_balance_is_not(changes: dict[str, float]) -> None:
    flow = estimate(scene(code=State.SIMULTANEOUS, outdoor=changes))
    assert not flow.quantified.any()
    assert np.all(np.isnan(flow.main_kg_s))


def test_a_calibration_in_pure_mode_serves_simultaneous_operation() -> None:
    """Half a day of cooling shows a valve that passes two thirds of what its area says."""
    n = 4320
    s = scene(n, plant=with_valve(2.0e-6), outdoor={"subcooler_valve": 0.5})
    half = np.arange(n) >= n // 2
    mixed = replace(
        s.states,
        state=np.where(half, State.SIMULTANEOUS, State.COOLING).astype(np.int8),
        pure=np.where(half, 0, 1).astype(np.int8),
    )
    flow = estimate(replace(s, states=mixed))
    pure, late = flow.main_kg_s[n // 4], flow.main_kg_s[-100]
    assert flow.balance_kg_s[-100] > 1.3 * pure
    assert late == pytest.approx(pure, rel=0.1)
    assert flow.low_kg_s[-100] < pure < flow.high_kg_s[-100]


def test_two_relations_are_weighed_by_inverse_variance() -> None:
    one = Logarithm(np.array([0.0]), np.array([0.1]))
    two = Logarithm(np.array([0.1]), np.array([0.2]))
    both = liquid_flow.combine(one, two)
    assert both.value == pytest.approx(0.02)
    assert both.sigma == pytest.approx(1 / np.sqrt(100 + 25))


def test_relations_that_disagree_widen_the_result() -> None:
    """Birge ratio: 1 apart with 0.1 each is chi square 50."""
    one = Logarithm(np.array([0.0]), np.array([0.1]))
    two = Logarithm(np.array([1.0]), np.array([0.1]))
    both = liquid_flow.combine(one, two)
    assert both.value == pytest.approx(0.5)
    assert both.sigma == pytest.approx(np.sqrt(50) * 0.1 / np.sqrt(2))


def test_one_relation_alone_is_taken_as_it_is() -> None:
    nothing = Logarithm(np.array([np.nan]), np.array([np.nan]))
    one = Logarithm(np.array([0.3]), np.array([0.1]))
    for both in (liquid_flow.combine(one, nothing), liquid_flow.combine(nothing, one)):
        assert both.value == pytest.approx(0.3)
        assert both.sigma == pytest.approx(0.1)
    assert np.isnan(liquid_flow.combine(nothing, nothing).value)


def test_a_valve_at_odds_with_the_compressor_makes_a_wide_band() -> None:
    """A throat area three times too large in the manifest."""
    right, wrong = (estimate(scene(plant=with_valve(a))) for a in (1.4e-6, 4.4e-6))
    assert right.quantified[180]
    widths = [f.high_kg_s[180] / f.low_kg_s[180] for f in (right, wrong)]
    assert widths[1] > 1.5 * widths[0]


def test_nothing_is_told_while_off() -> None:
    flow = estimate(scene(code=State.OFF))
    for values in (flow.main_kg_s, flow.low_kg_s, flow.high_kg_s, flow.compressor_kg_s):
        assert np.all(np.isnan(values))


def test_a_missing_liquid_thermistor_leaves_the_compressors_flow() -> None:
    flow = estimate(scene(outdoor={"liquid_temperature_indoor_side": np.nan}))
    assert flow.quantified.all()
    assert np.all(np.isnan(flow.balance_kg_s))


def test_a_pulsing_valve_gives_one_steady_flow() -> None:
    """Opening and leaving liquid swing together with a period of two minutes."""
    n = 360
    phase = 2 * np.pi * np.arange(n) * 10.0 / 120.0
    swing = {
        "subcooler_valve": 0.4 + 0.15 * np.sin(phase),
        "liquid_temperature_indoor_side": 298.15 - 4 * np.sin(phase - 0.8),
    }
    flow = estimate(scene(n, code=State.SIMULTANEOUS, outdoor=swing))
    inner = flow.balance_kg_s[30:-30]
    assert np.ptp(inner) < 0.05 * inner.mean()


@settings(max_examples=40, deadline=None)
@given(
    opening=st.floats(0.0, 1.0),
    drop=st.floats(-3.0, 25.0),
    speed=st.floats(10.0, 110.0),
    code=st.sampled_from([State.COOLING, State.SIMULTANEOUS]),
    side=st.sampled_from([BranchSide.INDOOR, BranchSide.OUTDOOR, None]),
    area=st.sampled_from([None, 2.2e-6]),
)
def test_bounds_are_in_order_and_never_beyond_the_compressor(
    opening: float,
    drop: float,
    speed: float,
    code: State,
    side: BranchSide | None,
    area: float | None,
) -> None:
    outdoor = {
        "subcooler_valve": opening,
        "liquid_temperature_indoor_side": 312.15 - drop,
        "compressor_speed": speed,
    }
    flow = estimate(scene(40, outdoor=outdoor, code=code, plant=with_valve(area, side)))
    known = flow.quantified
    assert np.all(flow.low_kg_s[known] <= flow.main_kg_s[known])
    assert np.all(flow.main_kg_s[known] <= flow.high_kg_s[known])
    assert np.all(flow.low_kg_s <= flow.high_kg_s)
    assert np.all(flow.high_kg_s <= flow.compressor_high_kg_s * (1 + 1e-9))


@settings(max_examples=20, deadline=None)
@given(st.floats(0.3, 3.0))
def test_twice_the_displacement_is_twice_the_flow(factor: float) -> None:
    """With the valve closed in pure cooling only the compressor tells the flow."""
    closed = {"subcooler_valve": 0.0}
    plant = with_valve(side=BranchSide.INDOOR)
    larger = replace(plant, compressor_displacement_m3=factor * plant.compressor_displacement_m3)
    one, other = (estimate(scene(40, outdoor=closed, plant=p)) for p in (plant, larger))
    assert other.main_kg_s == pytest.approx(factor * one.main_kg_s)
    assert other.high_kg_s == pytest.approx(factor * one.high_kg_s)


def test_a_larger_throat_passes_more_bypass_in_proportion() -> None:
    one, other = (estimate(scene(40, plant=with_valve(a))) for a in (2e-6, 3e-6))
    assert other.bypass_kg_s == pytest.approx(1.5 * one.bypass_kg_s)


def test_the_bypass_follows_the_valve_equation() -> None:
    """Cd 0.65, 2.2 mm2, travel of opening 0.4, 2.6 to 0.95 MPa, liquid at 39 degC."""
    rho = R410A.rho_liquid_kg_m3(312.15, 2.6e6)
    travel = (0.4 - valve.CURVE_START) / (1 - valve.CURVE_START)
    expected = 0.65 * 2.2e-6 * travel * np.sqrt(2 * rho * 1.65e6)
    assert estimate(scene(40)).bypass_kg_s[20] == pytest.approx(expected, rel=1e-6)


def test_means_do_not_reach_over_a_change_of_direction() -> None:
    n = 240
    turned = np.arange(n) >= n // 2
    outdoor = {
        "liquid_temperature_outdoor_side": np.where(turned, 298.15, 312.15),
        "liquid_temperature_indoor_side": np.where(turned, 312.15, 298.15),
    }
    s = scene(n, outdoor=outdoor, code=State.SIMULTANEOUS)
    sign = np.where(turned, -1, 1).astype(np.int8)
    at = subcooler.stream(s.samples, s.states, replace(s.direction, sign=sign), s.fluid, s.plant)
    assert at.entering_k == pytest.approx(np.full(at.entering_k.size, 312.15))
    assert at.leaving_k == pytest.approx(np.full(at.leaving_k.size, 298.15))


def test_an_empty_span_gives_empty_arrays() -> None:
    s = scene(1)
    cut = s.samples.between(s.samples.time[0], s.samples.time[0])
    empty = made.of(cut, made.states(0), plant=s.plant)
    assert estimate(empty).main_kg_s.size == 0
