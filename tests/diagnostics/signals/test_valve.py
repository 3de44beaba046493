"""Valve equation against worked orifices and the published fits of one valve."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from diagnostics import refrigerant
from diagnostics.plant import Refrigerant
from diagnostics.signals import valve
from tests.diagnostics.record import plant

R410A = refrigerant.fluid(Refrigerant.R410A)

# The worked state: R-410A, liquid at 35 degC and 2.6 MPa (7.89 K subcooled) expanding to 0.95 MPa.
LIQUID_K, HIGH_PA, LOW_PA = 308.15, 2.6e6, 0.95e6


def circle_m2(diameter_mm: float) -> float:
    """Area of a round hole."""
    return float(np.pi / 4 * (diameter_mm * 1e-3) ** 2)


def worked_velocity() -> np.ndarray:
    """Ideal mass velocity at the worked state."""
    rho = R410A.rho_liquid_kg_m3(LIQUID_K, HIGH_PA)
    return valve.mass_velocity_kg_s_m2(rho, HIGH_PA, LOW_PA)


def test_a_fixed_orifice_passes_its_worked_flow() -> None:
    """1.6 mm, Cd 0.65: density 1011.71 kg/m3, flow 0.075514 kg/s."""
    assert R410A.rho_liquid_kg_m3(LIQUID_K, HIGH_PA) == pytest.approx(1011.71, rel=5e-4)
    flow = valve.mass_flow_kg_s(circle_m2(1.6), worked_velocity(), 0.65)
    assert flow == pytest.approx(0.075514, rel=5e-4)


def test_the_seat_of_li_2013_passes_its_ideal_flow() -> None:
    """1.8 mm at the same state: A * sqrt(2 rho dp) = 0.14703 kg/s."""
    flow = valve.mass_flow_kg_s(circle_m2(1.8), worked_velocity(), 1.0)
    assert flow == pytest.approx(0.14703, rel=5e-4)


# Li 2013 (Applied Thermal Engineering 53:8-12), R-410A, 1.8 mm, at the worked state: discharge
# coefficients of the author's power law and of his polynomial, before the expansion factor.
LI_OPENING = np.array([0.1, 0.2, 0.5, 1.0])
LI_POWER = np.array([0.1475, 0.2570, 0.5352, 0.9322])
LI_POLYNOMIAL = np.array([0.0856, 0.2302, 0.5757, 0.8568])


def test_published_coefficients_follow_from_the_published_formulas() -> None:
    """SC 7.89 K, critical temperature of R-410A 71.34 degC."""
    x = 7.89 / 71.34
    power = 1.066 * LI_OPENING**0.8006 * x**0.0609
    polynomial = -0.07374 + 1.5461 * LI_OPENING - 0.73679 * LI_OPENING**2 + 1.09651 * LI_OPENING * x
    assert power == pytest.approx(LI_POWER, abs=2e-4)
    assert polynomial == pytest.approx(LI_POLYNOMIAL, abs=2e-4)


def test_the_doubt_claimed_is_no_less_than_the_two_fits_of_one_valve_differ() -> None:
    """They differ by 42 % at a tenth of full opening, 10 % at a fifth and about 8 % beyond."""
    apart = np.abs(np.log(LI_POLYNOMIAL / LI_POWER))
    travel = valve.area_m2(LI_OPENING, 1.0)
    doubt = valve.curve_prior(plant())[:, None] * valve.curve_basis(travel)
    sigma = np.sqrt((doubt**2).sum(axis=0))
    assert np.isnan(sigma[0]), "next to the dead band nothing is quantified"
    assert np.all(2 * sigma[1:] > apart[1:])


def test_a_power_of_travel_is_within_the_doubt_about_the_curve() -> None:
    """Powers of 0.8 (Li 2013) and 1.2 against the straight line, at 95 %."""
    travel = np.array([0.1, 0.3, 0.6])
    basis = valve.curve_basis(travel)
    for power in (0.8, 1.2):
        assert np.all(np.abs((power - 1) * basis[1]) <= 2 * valve.POWER_SIGMA * np.abs(basis[1]))


def test_nothing_passes_in_the_dead_band() -> None:
    closed = np.array([0.0, 10 / 480, 20 / 480, valve.CURVE_START])
    assert np.all(valve.area_m2(closed, 2e-6) == 0.0)
    assert valve.area_m2(np.array([1.0]), 2e-6) == pytest.approx(2e-6)


def test_the_manifest_area_is_taken_where_given() -> None:
    known = replace(plant(), subcooler_valve_full_area_m2=3.3e-6)
    assert valve.full_area_m2(known) == 3.3e-6


def test_an_unknown_area_is_scaled_from_capacity_and_doubted_more() -> None:
    """Fully open it passes 30 % of the rated flow (common practice): 45 kW needs about 2.2 mm2."""
    small, large = plant(), replace(plant(), cooling_capacity_w=90e3)
    assert valve.full_area_m2(small) == pytest.approx(2.2e-6, rel=0.05)
    assert valve.full_area_m2(large) == pytest.approx(2 * valve.full_area_m2(small))
    known = replace(small, subcooler_valve_full_area_m2=2.2e-6)
    assert valve.curve_prior(small)[0] > valve.curve_prior(known)[0]


def test_no_pressure_drop_gives_no_flow() -> None:
    assert valve.mass_velocity_kg_s_m2(1000.0, 0.9e6, 1.0e6) == 0.0


@given(st.lists(st.floats(0, 1), min_size=2, max_size=20))
def test_a_wider_opening_never_has_less_area(openings: list[float]) -> None:
    area = valve.area_m2(np.sort(np.array(openings)), 1.0)
    assert np.all(np.diff(area) >= 0)
    assert np.all((area >= 0) & (area <= 1))


@given(st.floats(0.05, 1.0), st.floats(0.02, 0.9))
def test_doubt_falls_as_the_valve_opens(travel: float, more: float) -> None:
    wider = min(1.0, travel + more * (1 - travel))
    near, far = (valve.hysteresis_sigma(np.array([x]))[0] for x in (travel, wider))
    assert far <= near


def doubt(opening: float) -> float:
    """Half width at 95 % of the logarithm of an uncalibrated flow, throat area known."""
    known = replace(plant(), subcooler_valve_full_area_m2=2.2e-6)
    travel = valve.area_m2(np.array([opening]), 1.0)
    parts = valve.curve_prior(known)[:, None] * valve.curve_basis(travel)
    return 2.0 * float(np.sqrt((parts**2).sum() + valve.hysteresis_sigma(travel)[0] ** 2))


@pytest.mark.parametrize(
    ("opening", "half_width"), [(1.0, 0.246), (0.5, 0.357), (0.3, 0.543), (0.2, 0.784)]
)
def test_doubt_is_a_quarter_fully_open_a_third_at_half_and_most_of_it_at_a_fifth(
    opening: float, half_width: float
) -> None:
    """12 % of size; a power good to 0.15 on the logarithm of travel (opening less a twelfth over
    eleven twelfths); 10 pulses of start and 6 of hysteresis, each over opening less a twelfth."""
    beyond = opening - 1 / 12
    by_hand = np.linalg.norm(
        [0.12, 0.15 * np.log(beyond / (11 / 12)), 10 / 480 / beyond, 6 / 480 / beyond]
    )
    assert 2.0 * by_hand == pytest.approx(half_width, abs=1e-3)
    assert doubt(opening) == pytest.approx(half_width, abs=1e-3)


@pytest.mark.parametrize(("travel", "known"), [(0.021, True), (0.019, False)])
def test_next_to_the_start_of_its_curve_a_flow_is_not_quantified(
    travel: float, known: bool
) -> None:
    """Two per cent of travel are 9 pulses of 480, as many as the start itself is doubted by."""
    assert np.isfinite(valve.curve_basis(np.array([travel]))).all() == known
    assert np.isfinite(valve.hysteresis_sigma(np.array([travel]))).all() == known


def test_travel_begins_at_forty_pulses_and_is_straight_from_there() -> None:
    """Flow starts at 20 to 60 pulses of 480 (common practice): the middle."""
    pulses = np.array([39.0, 40.0, 150.0, 260.0, 480.0, 600.0])
    found = valve.area_m2(pulses / 480, 1.0)
    assert found == pytest.approx([0.0, 0.0, 0.25, 0.5, 1.0, 1.0], abs=1e-12)


def test_a_scaled_valve_passes_three_tenths_of_the_rated_flow_at_the_worked_state() -> None:
    """45 kW at 165 kJ/kg are 0.2727 kg/s."""
    flow = valve.mass_flow_kg_s(valve.full_area_m2(plant()), worked_velocity())
    assert flow == pytest.approx(0.3 * 45e3 / 165e3, rel=2e-3)


def test_the_unknown_start_lowers_a_flow_as_it_is_later() -> None:
    """The logarithm of opening less start falls by 1 / (opening - start) for each unit of start."""
    opening, later = 0.4, 1e-4
    travel = valve.area_m2(np.array([opening]), 1.0)
    slope = (
        np.log(opening - valve.CURVE_START - later) - np.log(opening - valve.CURVE_START)
    ) / later
    size, power, start = valve.curve_basis(travel)[:, 0]
    assert start == pytest.approx(slope, rel=1e-3)
    assert (size, power) == pytest.approx((1.0, np.log(travel[0])))
