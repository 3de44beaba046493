"""Compressor flow against hand-worked values."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from diagnostics import refrigerant
from diagnostics.plant import Refrigerant
from diagnostics.signals import compressor
from diagnostics.signals.compressor import SuctionGas

R410A = refrigerant.fluid(Refrigerant.R410A)


def gas(**changes: float) -> SuctionGas:
    """One sample; 60 rev/s, 0.85 / 2.5 MPa, 10 degC at the suction unless changed."""
    usual = {
        "speed_rps": 60.0,
        "suction_pressure_pa": 0.85e6,
        "discharge_pressure_pa": 2.5e6,
        "suction_temperature_k": 283.15,
    }
    return SuctionGas(**{name: np.array([value]) for name, value in (usual | changes).items()})


def test_the_volumetric_model_gives_the_worked_flow() -> None:
    """42 cm3/rev, 60 rev/s, R-410A at 0.85 MPa and 10 degC, efficiency 0.93: 0.072279 kg/s."""
    flow = compressor.volumetric_flow(42e-6, gas(), R410A, 0.93)
    assert flow == pytest.approx(0.072279, rel=5e-4)


def test_generic_efficiency_stays_in_the_usual_ranges() -> None:
    """Inverter scroll 0.90-0.98 at ratio 2-3; 0.75-0.90 below 25-30 rev/s (common practice)."""
    at = compressor.volumetric_efficiency
    for ratio in (2.0, 2.5, 3.0):
        assert 0.90 <= at(np.array(ratio), np.array(60.0)) <= 0.98
    assert 0.75 <= at(np.array(3.0), np.array(15.0)) <= 0.90
    fall = at(np.array(3.0), np.array(60.0)) - at(np.array(4.0), np.array(60.0))
    assert fall == pytest.approx(0.02)


def test_the_worked_flow_lies_within_the_bounds_of_the_generic_estimate() -> None:
    flow = compressor.estimate(42e-6, gas(), R410A)
    assert flow.low_kg_s < 0.072279 < flow.high_kg_s


def test_slow_running_widens_the_bounds() -> None:
    fast, slow = (compressor.estimate(42e-6, gas(speed_rps=n), R410A) for n in (60.0, 12.0))
    assert slow.high_kg_s / slow.low_kg_s > 1.03 * fast.high_kg_s / fast.low_kg_s


def test_a_wet_suction_raises_only_the_upper_bound() -> None:
    dew_k = float(R410A.t_dew_k(0.85e6)[0])
    dry = compressor.estimate(42e-6, gas(suction_temperature_k=dew_k + 2.0), R410A)
    wet = compressor.estimate(42e-6, gas(suction_temperature_k=dew_k), R410A)
    assert wet.high_kg_s / wet.flow_kg_s > dry.high_kg_s / dry.flow_kg_s
    assert wet.low_kg_s / wet.flow_kg_s == pytest.approx(dry.low_kg_s / dry.flow_kg_s)


def test_without_a_suction_temperature_usual_superheat_is_assumed() -> None:
    dew_k = float(R410A.t_dew_k(0.85e6)[0])
    missing = compressor.estimate(42e-6, gas(suction_temperature_k=np.nan), R410A)
    usual = compressor.estimate(42e-6, gas(suction_temperature_k=dew_k + 5), R410A)
    assert missing.flow_kg_s == pytest.approx(usual.flow_kg_s)


@settings(max_examples=50, deadline=None)
@given(
    speed=st.floats(5, 120),
    suction=st.floats(0.4e6, 1.2e6),
    lift=st.floats(1.3, 6.0),
    superheat=st.floats(-3, 30),
    factor=st.floats(0.2, 5.0),
)
def test_flow_scales_with_displacement_and_bounds_stay_in_order(
    speed: float, suction: float, lift: float, superheat: float, factor: float
) -> None:
    dew_k = float(R410A.t_dew_k(suction)[0])
    state = gas(
        speed_rps=speed,
        suction_pressure_pa=suction,
        discharge_pressure_pa=min(suction * lift, 4.4e6),
        suction_temperature_k=dew_k + superheat,
    )
    one = compressor.estimate(42e-6, state, R410A)
    scaled = compressor.estimate(42e-6 * factor, state, R410A)
    assert 0 < one.low_kg_s < one.flow_kg_s < one.high_kg_s
    assert scaled.flow_kg_s == pytest.approx(factor * one.flow_kg_s)
    assert scaled.low_kg_s == pytest.approx(factor * one.low_kg_s)


@pytest.mark.parametrize(
    ("ratio", "speed", "expected"),
    [
        (2.0, 60.0, 0.95),
        (2.0, 30.0, 0.95),
        (2.0, 15.0, 0.85),
        (2.0, 0.0, 0.75),
        (7.0, 60.0, 0.85),
        (7.0, 7.5, 0.70),
        # What no compressor does is taken at the end of the range.
        (0.5, 60.0, 0.97),
        (12.0, 60.0, 0.75),
        (40.0, 60.0, 0.75),
    ],
)
def test_efficiency_falls_with_the_ratio_and_below_thirty_turns_a_second(
    ratio: float, speed: float, expected: float
) -> None:
    """Two points a unit of ratio, twenty between thirty turns a second and none."""
    found = compressor.volumetric_efficiency(np.array([ratio]), np.array([speed]))
    assert found == pytest.approx([expected])


@pytest.mark.parametrize(
    ("speed", "superheat_k", "low", "high"),
    [
        (60.0, 5.0, 0.17, 0.17),
        (30.0, 5.0, 0.17, 0.17),
        (15.0, 5.0, np.hypot(0.17, 0.075), np.hypot(0.17, 0.075)),
        (60.0, 1.1, 0.17, 0.17),
        (60.0, 0.9, 0.17, np.hypot(0.17, 0.20)),
        (15.0, 0.0, np.hypot(0.17, 0.075), np.sqrt(0.17**2 + 0.075**2 + 0.20**2)),
    ],
)
def test_bounds_by_their_parts(speed: float, superheat_k: float, low: float, high: float) -> None:
    """A sixth either way; half of the doubt about leakage at half of thirty turns; a fifth more
    upwards within a kelvin of saturation, where drops may come along."""
    dew_k = float(R410A.t_dew_k(0.85e6)[0])
    state = gas(speed_rps=speed, suction_temperature_k=dew_k + superheat_k)
    flow = compressor.estimate(42e-6, state, R410A)
    assert flow.flow_kg_s / flow.low_kg_s == pytest.approx(1.0 + low)
    assert flow.high_kg_s / flow.flow_kg_s == pytest.approx(1.0 + high)


def test_a_gas_colder_than_its_dew_point_is_taken_at_its_dew_point() -> None:
    dew_k = float(R410A.t_dew_k(0.85e6)[0])
    cold, dew = (
        compressor.estimate(42e-6, gas(suction_temperature_k=dew_k - below), R410A)
        for below in (4.0, 0.0)
    )
    assert cold.flow_kg_s == pytest.approx(dew.flow_kg_s)


def test_the_estimate_is_displacement_times_speed_times_density_times_efficiency() -> None:
    """42 cm3, 60 turns, 30.841 kg/m3 at 0.85 MPa and 10 degC; 2.5 over 0.85 MPa is 2.941."""
    expected = 42e-6 * 60.0 * 30.8412 * (0.95 - 0.02 * (2.5 / 0.85 - 2.0))
    assert compressor.estimate(42e-6, gas(), R410A).flow_kg_s == pytest.approx(expected, rel=5e-4)
