"""Trends and changes against the Nile and textbook tables."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from scipy import stats
from statsmodels.datasets import nile

from diagnostics import trend
from diagnostics.trend import Shape

NILE = nile.load_pandas().data
YEARS = NILE["year"].to_numpy(float)
FLOW = NILE["volume"].to_numpy(float)


def test_theil_sen_slope_of_the_nile() -> None:
    """-2.6 per year, 95 % (-3.628, -1.429)."""
    slope = trend.theil_sen(YEARS, FLOW)
    assert slope.per_day == pytest.approx(-2.6)
    assert slope.low_per_day == pytest.approx(-3.628, abs=5e-4)
    assert slope.high_per_day == pytest.approx(-1.429, abs=5e-4)


def test_mann_kendall_of_the_nile() -> None:
    """S -1387, variance 112 728.33, Z -4.1281, p 3.66e-5, tau-b -0.28074."""
    test = trend.mann_kendall(FLOW)
    assert test.s == -1387
    assert test.variance == pytest.approx(112_728.33, abs=0.01)
    assert test.z == pytest.approx(-4.1281, abs=5e-5)
    assert test.p == pytest.approx(3.66e-5, rel=2e-3)
    tau_b = stats.kendalltau(YEARS, FLOW).statistic
    assert tau_b == pytest.approx(-0.28074, abs=5e-6)
    assert np.sign(test.s) == np.sign(tau_b)


def test_pettitt_finds_the_step_of_1898() -> None:
    """K 1617 after 28 values, p 3.6e-7."""
    step = trend.pettitt(FLOW)
    assert (step.index, step.statistic) == (28, 1617)
    assert YEARS[step.index - 1] == 1898
    assert step.p == pytest.approx(3.6e-7, rel=0.01)


def test_least_squares_finds_the_same_step_and_its_means() -> None:
    """After 28 values (Cobb 1978: near 1898), means 1097.75 and 849.97, sup F 75.93."""
    step = trend.least_squares_step(FLOW)
    assert step.index == 28
    assert step.before == pytest.approx(1097.75)
    assert step.after == pytest.approx(849.97, abs=5e-3)
    assert step.statistic == pytest.approx(75.93, abs=5e-3)


def test_the_nile_is_a_step_although_its_trend_is_significant() -> None:
    assert trend.mann_kendall(FLOW).p < 1e-4
    assert trend.shape(YEARS, FLOW) is Shape.STEP


def test_cusum_of_the_nile_alarms_in_1902() -> None:
    """k 0.5, h 5, reference 1871-1890 (1070.85, 143.86): first alarm 1902, C- 5.656."""
    reference = FLOW[:20]
    assert reference.mean() == pytest.approx(1070.85)
    assert reference.std(ddof=1) == pytest.approx(143.86, abs=5e-3)
    found = trend.cusum((FLOW - reference.mean()) / reference.std(ddof=1))
    assert found.alarm is not None
    assert YEARS[found.alarm] == 1902
    assert found.low[found.alarm] == pytest.approx(5.656, abs=5e-4)
    assert found.high[found.alarm] < 1


@pytest.mark.parametrize(
    ("limit", "lengths"), [(4, (169, 26.7, 8.3, 3.2)), (5, (469, 38.0, 10.3, 3.9))]
)
def test_cusum_run_lengths_by_siegmund(limit: float, lengths: tuple[float, ...]) -> None:
    """k 0.5; Montgomery's table gives 465 and 10.4 for h 5 without and with a shift of 1 sigma."""
    found = [trend.run_length(limit, shift) for shift in (0.0, 0.5, 1.0, 2.0)]
    assert found == pytest.approx(lengths, rel=0.01)
    if limit == 5:
        assert found[0] == pytest.approx(465, rel=0.01)
        assert found[2] == pytest.approx(10.4, rel=0.01)


def test_simulated_false_alarms_agree_with_the_run_length() -> None:
    rng = np.random.default_rng(7)
    z = rng.normal(size=(300, 1500))
    alarms = [trend.cusum(row, limit=4.0).alarm for row in z]
    lengths = [1500 if alarm is None else alarm + 1 for alarm in alarms]
    assert np.mean(lengths) == pytest.approx(169, rel=0.2)


def test_a_limit_for_the_fleet_is_wider_than_for_one_unit() -> None:
    """h 5 over 1000 systems is two false alarms a day; one a week takes a wider limit."""
    assert 1000 / trend.run_length(5.0) == pytest.approx(2.1, abs=0.1)
    limit = trend.limit_for_run_length(7 * 1000)
    assert trend.run_length(limit) == pytest.approx(7000, rel=1e-6)
    assert limit > 7


def test_an_impossible_run_length_is_refused() -> None:
    with pytest.raises(ValueError, match="run length 1 is outside"):
        trend.limit_for_run_length(1.0)


def test_a_slow_leak_is_a_slope_and_its_date_is_projected() -> None:
    rng = np.random.default_rng(2)
    days = np.arange(60.0)
    subcooling = 5.0 - 0.05 * days + rng.normal(0, 0.3, 60)
    assert trend.shape(days, subcooling) is Shape.SLOPE
    reach = trend.crossing(days, subcooling, 0.0)
    assert reach.earliest_days <= reach.likely_days <= reach.latest_days
    assert reach.likely_days == pytest.approx((5.0 - 0.05 * 59) / 0.05, rel=0.25)


def test_a_repair_in_between_is_a_step() -> None:
    rng = np.random.default_rng(4)
    values = np.where(np.arange(40) < 25, 5.0, 2.5) + rng.normal(0, 0.4, 40)
    assert trend.shape(np.arange(40.0), values) is Shape.STEP
    assert trend.least_squares_step(values).index == pytest.approx(25, abs=1)


def test_noise_is_mostly_a_level() -> None:
    rng = np.random.default_rng(9)
    shapes = [trend.shape(np.arange(40.0), rng.normal(size=40)) for _ in range(200)]
    assert shapes.count(Shape.LEVEL) >= 190


def test_few_days_say_nothing() -> None:
    days = np.arange(trend.MINIMUM_DAYS - 1.0)
    assert trend.shape(days, -days) is Shape.UNKNOWN
    assert np.isnan(trend.theil_sen(days[:2], days[:2]).per_day)


def test_a_rising_line_never_reaches_a_lower_level() -> None:
    days = np.arange(30.0)
    reach = trend.crossing(days, 3.0 + 0.1 * days, 0.0)
    assert reach.likely_days == np.inf


def test_a_level_already_reached_needs_no_days() -> None:
    days = np.arange(30.0)
    assert trend.crossing(days, 3.0 - 0.2 * days, 0.0).likely_days == 0.0


def test_days_out_of_order_are_refused() -> None:
    with pytest.raises(ValueError, match="days must ascend"):
        trend.theil_sen(np.array([0.0, 2.0, 1.0]), np.zeros(3))


@settings(max_examples=40, deadline=None)
@given(
    arrays(float, st.integers(8, 40), elements=st.floats(-5, 5)),
    st.floats(0.1, 10),
    st.floats(-10, 10),
)
def test_scale_and_level_of_the_values_do_not_matter(
    values: np.ndarray, scale: float, shift: float
) -> None:
    values = np.round(values, 3)
    moved = scale * values + shift
    days = np.arange(float(values.size))
    slope = trend.theil_sen(days, moved)
    assert slope.per_day == pytest.approx(scale * trend.theil_sen(days, values).per_day, abs=1e-6)
    assert slope.low_per_day <= slope.per_day <= slope.high_per_day


@settings(max_examples=40, deadline=None)
@given(arrays(float, st.integers(3, 40), elements=st.floats(-5, 5)))
def test_reversed_time_reverses_the_trend(values: np.ndarray) -> None:
    assert trend.mann_kendall(values[::-1]).s == -trend.mann_kendall(values).s


def test_missing_days_are_passed_over() -> None:
    values = FLOW.copy()
    values[::7] = np.nan
    keep = ~np.isnan(values)
    assert trend.mann_kendall(values) == trend.mann_kendall(values[keep])
    assert trend.theil_sen(YEARS, values) == trend.theil_sen(YEARS[keep], values[keep])
    z = np.array([1.0, np.nan, 1.0])
    assert trend.cusum(z).high == pytest.approx([0.5, 0.5, 1.0])
