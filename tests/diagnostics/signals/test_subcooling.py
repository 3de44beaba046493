"""Subcooling at the point that counts, its uncertainty and the static head."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from diagnostics.channels import CALLS
from diagnostics.plant import Plant, Refrigerant
from diagnostics.refrigerant import fluid
from diagnostics.samples import FloatArray, Samples
from diagnostics.signals import subcooling
from diagnostics.signals.direction import Direction
from diagnostics.signals.state import State, States
from diagnostics.signals.subcooling import Instruments, Subcooling
from tests.diagnostics.record import fahrenheit, plant, running

N = 8
HEAT, COOL = float(CALLS.index("heat")), float(CALLS.index("cool"))


def told(sign: int, n: int = N) -> Direction:
    return Direction(
        np.full(n, sign, np.int8),
        np.full(n, 0.5 + 0.5 * sign),
        np.ones(n, bool),
        0.0,
        0.1,
        np.zeros(n),
        np.full(n, np.nan),
    )


def measure(
    samples: Samples, sign: int, system: Plant | None = None, state: State = State.SIMULTANEOUS
) -> Subcooling:
    system = system or plant()
    n = len(samples)
    on = np.full(n, state != State.OFF)
    states = States(np.full(n, state, np.int8), on, on, np.zeros(n, np.int8))
    return subcooling.measure(samples, told(sign, n), states, fluid(system.refrigerant), system)


def liquid(outside_k: float, inside_k: float, p_pa: float = 2.5e6) -> Samples:
    return running(
        N,
        outdoor={
            "liquid_temperature_outdoor_side": outside_k,
            "liquid_temperature_indoor_side": inside_k,
            "discharge_pressure": p_pa,
        },
    )


def test_the_worked_example() -> None:
    # R-410A, 2.60 MPa, liquid at 39 degC: bubble point 42.885 degC, subcooling 3.885 K (worked
    # example of a subcooler balance, equation of state of Lemmon 2003).
    result = measure(liquid(312.15, 298.15, 2.6e6), 1)
    assert result.upstream_k == pytest.approx(3.885, abs=2e-3)
    assert result.other_k == pytest.approx(17.885, abs=2e-3)


def test_the_wrong_side_adds_the_subcoolers_own_work() -> None:
    """Common practice, no source: in at 70 degF, out at 60 degF adds 10 degF, 5.6 K."""
    result = measure(liquid(fahrenheit(60.0), fahrenheit(70.0)), -1)
    assert result.other_k - result.upstream_k == pytest.approx(10 / 1.8)


@given(drop=st.floats(0.5, 20.0), sign=st.sampled_from([-1, 1]))
def test_upstream_is_the_warmer_side_so_its_subcooling_is_the_smaller(
    drop: float, sign: int
) -> None:
    outside, inside = (308.0, 308.0 - drop) if sign > 0 else (308.0 - drop, 308.0)
    result = measure(liquid(outside, inside), sign)
    assert (result.other_k - result.upstream_k) == pytest.approx(drop)


def test_undetermined_direction_gives_no_subcooling() -> None:
    result = measure(liquid(308.0, 300.0), 0)
    for values in (result.upstream_k, result.other_k, result.sigma_k):
        assert np.isnan(values).all()
    assert not result.at_saturation.any()


@pytest.mark.parametrize("state", [State.OFF, State.DEFROST])
def test_no_subcooling_while_off_or_defrosting(state: State) -> None:
    assert np.isnan(measure(liquid(308.0, 300.0), 1, state=state).upstream_k).all()


def test_the_bubble_point_counts_where_the_refrigerant_glides() -> None:
    blend = plant(Refrigerant.R454B)
    properties = fluid(Refrigerant.R454B)
    result = measure(liquid(308.0, 300.0), 1, blend)
    assert result.upstream_k == pytest.approx(properties.t_bubble_k(2.5e6)[0] - 308.0)
    from_dew = properties.t_dew_k(2.5e6)[0] - 308.0
    assert from_dew - result.upstream_k == pytest.approx(1.45, abs=0.1)


def test_uncertainty_propagates_to_first_order() -> None:
    """JCGM 100:2008, 5.1.2: against a Monte Carlo of the same inputs (JCGM 101)."""
    properties, usual = fluid(Refrigerant.R410A), subcooling.USUAL
    result = measure(liquid(308.0, 300.0), 1)
    rng = np.random.default_rng(1)
    m = 200_000
    p = 2.5e6 + rng.normal(0.0, usual.pressure_pa, m)
    t = 308.0 + rng.normal(0.0, usual.temperature_k, m)
    floor = rng.normal(0.0, properties.saturation_floor_k, m)
    spread = float(np.std(properties.t_bubble_k(p) + floor - t))
    assert result.sigma_k == pytest.approx(spread, rel=0.01)


def test_a_transducer_of_one_percent_adds_seven_tenths_of_a_kelvin() -> None:
    # 1 % of a 4.15 MPa span, 41 kPa, is 0.7 K of R-410A subcooling at 2.5 MPa (computed).
    slope = fluid(Refrigerant.R410A).dt_bubble_dp_k_pa(2.5e6)[0]
    assert subcooling.USUAL.pressure_pa * 3**0.5 * slope == pytest.approx(0.7, abs=0.05)


def test_better_instruments_give_a_smaller_uncertainty_but_not_below_the_floor() -> None:
    system = plant()
    on = np.ones(N, bool)
    states = States(np.full(N, State.COOLING, np.int8), on, on, np.ones(N, np.int8))
    perfect = subcooling.measure(
        liquid(308.0, 300.0),
        told(1),
        states,
        fluid(system.refrigerant),
        system,
        Instruments(0.0, 0.0, 0.0),
    )
    assert perfect.sigma_k == pytest.approx(0.15)


@pytest.mark.parametrize(("subcooled_k", "two_phase"), [(-2.0, True), (0.5, True), (4.0, False)])
def test_near_zero_means_two_phase_within_uncertainty(subcooled_k: float, two_phase: bool) -> None:
    bubble_k = float(fluid(Refrigerant.R410A).t_bubble_k(2.5e6)[0])
    result = measure(liquid(bubble_k - subcooled_k, 300.0), 1)
    assert result.upstream_k == pytest.approx(subcooled_k)
    assert (result.at_saturation == two_phase).all()


def test_ten_metres_below_cost_a_kelvin_and_a_half_on_the_way_up() -> None:
    """Static head of 10 m: 99 kPa at 1010 kg/m3, 1.6 K at 2.5 MPa (computed, R-410A)."""
    below, level = plant(elevations=(-10.0, -10.0)), plant(elevations=(0.0, 0.0))
    samples = liquid(300.0, 308.0)
    low, flat = measure(samples, -1, below), measure(samples, -1, level)
    assert low.static_head_pa == pytest.approx(-99e3, rel=0.02)
    assert flat.upstream_k - low.upstream_k == pytest.approx(1.6, abs=0.1)
    assert (flat.static_head_pa == 0).all()
    above = measure(samples, -1, plant(elevations=(10.0, 10.0)))
    assert (above.upstream_k > flat.upstream_k).all()


def test_head_does_not_count_for_liquid_from_the_outdoor_coil() -> None:
    below = plant(elevations=(-30.0, -30.0))
    result = measure(liquid(308.0, 300.0), 1, below)
    assert (result.static_head_pa == 0).all()
    assert result.upstream_k == pytest.approx(measure(liquid(308.0, 300.0), 1).upstream_k)


def test_unknown_elevations_widen_the_uncertainty_and_correct_nothing() -> None:
    known, unknown = plant(elevations=(0.0, 0.0)), plant(elevations=(None, None))
    samples = liquid(300.0, 308.0)
    assert (measure(samples, -1, unknown).static_head_pa == 0).all()
    widened = measure(samples, -1, unknown).sigma_k
    assert (widened > measure(samples, -1, known).sigma_k + 0.1).all()


def calls(*rows: FloatArray) -> Samples:
    return running(2, indoor={"call": np.stack(rows)})


def test_only_the_rooms_that_condense_give_the_head() -> None:
    system = plant(elevations=(-20.0, 4.0))
    samples = calls(np.array([HEAT, COOL]), np.array([COOL, COOL]))
    assert subcooling.mean_elevation_m(samples, system).tolist() == [-20.0, -8.0]
    both = calls(np.array([HEAT, HEAT]), np.array([HEAT, HEAT]))
    assert subcooling.mean_elevation_m(both, system).tolist() == [-8.0, -8.0]


def test_rooms_without_an_elevation_do_not_count_towards_the_mean() -> None:
    system = plant(elevations=(-20.0, None))
    samples = calls(np.array([HEAT, COOL]), np.array([HEAT, HEAT]))
    assert subcooling.mean_elevation_m(samples, system).tolist() == [-20.0, -20.0]


def test_missing_readings_give_no_subcooling_and_no_warning() -> None:
    result = measure(running(N), 1)
    assert np.isnan(result.upstream_k).all()
    assert not result.at_saturation.any()


def test_instruments_are_of_the_usual_classes() -> None:
    """JCGM 100:2008, 4.3.7: limits of 1 % of 4.15 MPa and of 0.5 K, each over the root of 3."""
    usual = subcooling.USUAL
    assert usual.pressure_pa * 3**0.5 == pytest.approx(0.01 * 4.15e6, rel=1e-9)
    assert usual.temperature_k * 3**0.5 == pytest.approx(0.5, rel=1e-9)


def test_rooms_of_unknown_height_are_doubted_by_a_storey() -> None:
    """Three metres of liquid, independent of all else."""
    samples, properties = liquid(300.0, 308.0), fluid(Refrigerant.R410A)
    known, unknown = (measure(samples, -1, plant(elevations=(z, z))) for z in (0.0, None))
    rho = float(properties.rho_liquid_kg_m3(308.0, 2.5e6)[0])
    slope = float(properties.dt_bubble_dp_k_pa(2.5e6)[0])
    added = np.sqrt(unknown.sigma_k**2 - known.sigma_k**2)
    assert added == pytest.approx(np.full(N, slope * rho * 9.80665 * 3.0), rel=1e-4)
    # Towards the rooms the height does not matter.
    onward = measure(liquid(308.0, 300.0), 1, plant(elevations=(None, None)))
    assert onward.sigma_k == pytest.approx(measure(liquid(308.0, 300.0), 1).sigma_k)


@pytest.mark.parametrize(
    ("offset_k", "share_k"), [(0.0, 0.0), (0.8, 0.4), (-0.8, -0.4), (3.0, 0.5), (-3.0, -0.5)]
)
@pytest.mark.parametrize("sign", [1, -1])
def test_a_learned_offset_is_shared_between_both_thermistors(
    offset_k: float, share_k: float, sign: int
) -> None:
    """The outdoor side reads high by it: half is taken off there and half added here; of more
    than a kelvin one of the two is at fault, and no more is shared."""
    system, on = plant(elevations=(0.0, 0.0)), np.ones(N, bool)
    states = States(np.full(N, State.SIMULTANEOUS, np.int8), on, on, np.zeros(N, np.int8))
    properties = fluid(system.refrigerant)

    def of(offset: float) -> Subcooling:
        way = replace(told(sign), offset_k=offset)
        return subcooling.measure(liquid(308.0, 308.0), way, states, properties, system)

    plain, shared = of(0.0), of(offset_k)
    assert shared.upstream_k - plain.upstream_k == pytest.approx(
        np.full(N, sign * share_k), abs=1e-6
    )
    assert shared.other_k - plain.other_k == pytest.approx(np.full(N, -sign * share_k), abs=1e-6)


@pytest.mark.parametrize(("of_sigma", "saturated"), [(0.99, True), (1.01, False)])
def test_liquid_is_saturated_within_one_standard_uncertainty(
    of_sigma: float, saturated: bool
) -> None:
    bubble_k = float(fluid(Refrigerant.R410A).t_bubble_k(2.5e6)[0])
    sigma = float(measure(liquid(bubble_k, 300.0), 1).sigma_k[0])
    result = measure(liquid(bubble_k - of_sigma * sigma, 300.0), 1)
    assert (result.at_saturation == saturated).all()
    still = measure(liquid(bubble_k, 300.0), 1, state=State.OFF)
    assert not still.at_saturation.any()


def test_a_column_that_rises_lowers_saturation_by_its_weight() -> None:
    """R-410A at 2.5 MPa from rooms 20 m below: rho g h less pressure, 9.80665 m/s2."""
    properties = fluid(Refrigerant.R410A)
    result = measure(liquid(300.0, 308.0), -1, plant(elevations=(-20.0, -20.0)))
    head = float(properties.rho_liquid_kg_m3(308.0, 2.5e6)[0]) * 9.80665 * -20.0
    assert result.static_head_pa == pytest.approx(np.full(N, head))
    bubble = float(properties.t_bubble_k(2.5e6 + head)[0])
    assert result.upstream_k == pytest.approx(np.full(N, bubble - 308.0))
    assert result.other_k == pytest.approx(np.full(N, bubble - 300.0))
    assert 3.0 < float(properties.t_bubble_k(2.5e6)[0]) - bubble < 3.4


def test_heights_are_weighed_by_capacity_and_by_who_heats() -> None:
    """Two rooms at -20 and 4 m, the second thrice as large: -2 m together."""
    system = plant(elevations=(-20.0, 4.0))
    small, large = system.indoor
    system = replace(system, indoor=(small, replace(large, cooling_capacity_w=16_800.0)))
    assert subcooling.mean_elevation_m(running(2), system) == pytest.approx([-2.0, -2.0])
    both = calls(np.array([HEAT, COOL]), np.array([HEAT, HEAT]))
    assert subcooling.mean_elevation_m(both, system) == pytest.approx([-2.0, 4.0])
