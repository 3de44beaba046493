"""Oscillation indices against signals with known answers."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.signal import lfilter
from statsmodels.datasets import sunspots

from diagnostics.signals import oscillation

TRIALS, LENGTH = 300, 1024


def sine(period: float, length: int = LENGTH) -> np.ndarray:
    """One row of a sine."""
    return np.sin(2 * np.pi * np.arange(length) / period)[None, :]


def second_order_loop(
    noise: np.ndarray, period: float, damping: float, settle: int = 400
) -> np.ndarray:
    """Noise through a discrete second-order system, start-up cut off."""
    natural = 2 * np.pi / period
    pole = np.exp(natural * (-damping + 1j * np.sqrt(1 - damping**2)))
    return lfilter([1.0], [1.0, -2 * pole.real, abs(pole) ** 2], noise)[:, settle:]


def flagged(signals: np.ndarray) -> tuple[float, float]:
    """Share of rows with regularity above 1, and with a decay ratio above 0.5."""
    correlation = oscillation.autocorrelation(signals)
    regular = oscillation.regularity(correlation).index > 1.0
    return float(regular.mean()), float((oscillation.decay_ratio(correlation) > 0.5).mean())


def test_a_sine_has_its_period_and_the_reference_indices() -> None:
    """Period 32, N 1024: period 32.001, r above 1e4, R 0.984."""
    correlation = oscillation.autocorrelation(sine(32))
    found = oscillation.regularity(correlation)
    assert found.period == pytest.approx(32.001, abs=1e-3)
    assert found.index > 1e4
    assert found.intervals == 10
    assert oscillation.decay_ratio(correlation) == pytest.approx(0.984, abs=1e-3)


def test_the_sunspots_have_their_known_cycle() -> None:
    """statsmodels sunspots 1700-2008, cycle of about 11 years: 10.46, r 3.55, R 0.846."""
    numbers = sunspots.load_pandas().data["SUNACTIVITY"].to_numpy(float)[None, :]
    correlation = oscillation.autocorrelation(numbers)
    found = oscillation.regularity(correlation)
    assert found.period == pytest.approx(10.46, abs=0.01)
    assert found.index == pytest.approx(3.55, abs=0.01)
    assert oscillation.decay_ratio(correlation) == pytest.approx(0.846, abs=1e-3)


# Shares flagged in 300 trials of N 1024: white noise, AR(1) 0.9, sine with as much or four times as
# much noise, noise-driven loop of damping 0.2. Tolerances are three binomial standard deviations.
def binomial(share: float) -> float:
    """Three standard deviations of a share in 300 trials, at least 2 %."""
    return max(0.02, 3 * float(np.sqrt(share * (1 - share) / TRIALS)))


@pytest.mark.parametrize(
    ("signal", "regular", "decaying"),
    [
        ("white", 0.03, 0.0),
        ("ar1", 0.017, 0.013),
        ("sine, power ratio 1", 1.0, 0.31),
        ("sine, power ratio 0.25", 0.51, 0.01),
        ("loop", 0.70, 0.63),
    ],
)
def test_shares_flagged_match_the_reference_trials(
    signal: str, regular: float, decaying: float
) -> None:
    rng = np.random.default_rng(1)
    noise = rng.normal(size=(TRIALS, LENGTH + 400))
    phase = rng.uniform(0, 2 * np.pi, (TRIALS, 1))
    wave = np.sqrt(2) * np.sin(2 * np.pi * np.arange(LENGTH) / 32 + phase)
    signals = {
        "white": noise[:, :LENGTH],
        "ar1": lfilter([1.0], [1.0, -0.9], noise)[:, :LENGTH],
        "sine, power ratio 1": wave + noise[:, :LENGTH],
        "sine, power ratio 0.25": 0.5 * wave + noise[:, :LENGTH],
        "loop": second_order_loop(noise, 32, 0.2),
    }[signal]
    r, big_r = flagged(signals)
    assert r == pytest.approx(regular, abs=binomial(regular))
    assert big_r == pytest.approx(decaying, abs=binomial(decaying))


@pytest.mark.parametrize(
    ("samples_per_cycle", "tolerance"), [(2.3, 0.06), (4.3, 0.02), (12.0, 0.01)]
)
def test_a_faint_sine_keeps_its_period_down_to_few_samples_a_cycle(
    samples_per_cycle: float, tolerance: float
) -> None:
    """Twelve cycles of a sine at four times the noise power; median over trials."""
    rng = np.random.default_rng(3)
    length = round(12 * samples_per_cycle)
    wave = sine(samples_per_cycle, length) * np.sqrt(2) * 2
    signals = wave + rng.normal(size=(100, length))
    period = oscillation.regularity(oscillation.autocorrelation(signals)).period
    assert np.nanmedian(period) == pytest.approx(samples_per_cycle, rel=tolerance)


def test_a_constant_row_does_not_oscillate() -> None:
    correlation = oscillation.autocorrelation(np.ones((2, 64)))
    assert np.all(correlation == 0)
    assert np.all(np.isnan(oscillation.regularity(correlation).period))
    assert np.all(oscillation.decay_ratio(correlation) == 0)


def test_detrending_takes_a_ramp_away_and_leaves_the_swing() -> None:
    ramp = np.linspace(3, 9, 120)[None, :]
    wave = np.sin(2 * np.pi * np.arange(120) / 12)[None, :]
    assert oscillation.detrend(ramp) == pytest.approx(np.zeros((1, 120)), abs=1e-9)
    assert oscillation.detrend(ramp + wave) == pytest.approx(wave, abs=0.2)


def test_the_lag_between_two_rows_is_found() -> None:
    rng = np.random.default_rng(5)
    first = rng.normal(size=(1, 400))
    second = np.roll(first, 7, axis=1)
    assert oscillation.cross_correlation(first, second, 50).argmax() == 7


@settings(max_examples=30, deadline=None)
@given(
    period=st.floats(6, 40),
    scale=st.floats(1e-3, 1e3),
    shift=st.floats(-1e3, 1e3),
    seed=st.integers(0, 1000),
)
def test_indices_do_not_depend_on_scale_or_level(
    period: float, scale: float, shift: float, seed: int
) -> None:
    rng = np.random.default_rng(seed)
    rows = sine(period, 300) + 0.2 * rng.normal(size=(1, 300))
    plain, moved = (oscillation.autocorrelation(x) for x in (rows, scale * rows + shift))
    assert moved == pytest.approx(plain, abs=1e-6)
    assert oscillation.regularity(moved).period == pytest.approx(
        oscillation.regularity(plain).period, rel=1e-4
    )
    assert np.max(np.abs(plain)) <= 1 + 1e-9


@pytest.mark.parametrize("lags", [0, 1])
def test_too_few_lags_to_cross_zero_have_no_period(lags: int) -> None:
    found = oscillation.regularity(np.ones((3, lags)))
    assert np.isnan(found.period).tolist() == [True] * 3
    assert np.isnan(found.index).tolist() == [True] * 3
    assert found.intervals.tolist() == [0, 0, 0]


def test_five_lags_are_the_fewest_with_two_minima_and_a_maximum() -> None:
    """Minima are looked for between neighbours: low, high, low takes lags 1 to 3, so none has two
    minima below six lags; four lags are not even looked at."""
    assert oscillation.decay_ratio(np.array([[1.0, -0.5, 0.4, -0.3]])).tolist() == [0.0]
    assert oscillation.decay_ratio(np.array([[1.0, -0.5, 0.4, -0.3, 0.2]])) > 0.0


def test_the_decay_ratio_by_hand() -> None:
    """First minimum -0.5, maximum 0.4, second minimum -0.3 at lags 1, 2, 3: 0.4 stands 0.8 above
    the middle of the minima, and -0.5 lies 1.2 below the middle of 1.0 and 0.4; 0.8 / 1.2."""
    found = oscillation.decay_ratio(np.array([[1.0, -0.5, 0.4, -0.3, 0.2, 0.1]]))
    assert found == pytest.approx(2.0 / 3.0)


def crossing_after(*intervals: int) -> np.ndarray:
    """A row of 1 and -1 by turns that changes its sign after so many lags each."""
    signs = [1.0 if i % 2 == 0 else -1.0 for i in range(len(intervals) + 1)]
    return np.repeat(signs, [2, *intervals])[None, :]


def test_period_and_regularity_of_crossings_by_hand() -> None:
    """Intervals of 3, 5, 3 and 5 lags: mean 4, so a period of 8; standard deviation
    sqrt(4 / 3), and a third of 4 over it is 1.1547."""
    found = oscillation.regularity(crossing_after(3, 5, 3, 5, 9))
    assert found.intervals.tolist() == [4]
    assert found.period == pytest.approx([8.0])
    assert found.index == pytest.approx([4.0 / np.sqrt(4.0 / 3.0) / 3.0])


def test_a_crossing_lies_where_the_line_between_two_lags_crosses() -> None:
    """From 3 to -1 three quarters of a lag on, from -1 to 1 half of it, from 4 to -1 0.8."""
    row = np.array([[5.0, 3.0, -1.0, -1.0, 1.0, 4.0, -1.0]])
    found = oscillation.regularity(row)
    crossings = np.array([1.75, 3.5, 5.8])
    gaps = np.diff(crossings)
    assert found.intervals.tolist() == [2]
    assert found.period == pytest.approx([2.0 * gaps.mean()])
    assert found.index == pytest.approx([gaps.mean() / gaps.std(ddof=1) / 3.0])


def test_ten_intervals_are_looked_at_and_those_after_them_not() -> None:
    found = oscillation.regularity(crossing_after(*[4, 6] * 5, 40, 1, 40, 7))
    assert found.intervals.tolist() == [10]
    assert found.period == pytest.approx([10.0])
    assert found.index == pytest.approx([5.0 / np.sqrt(10.0 / 9.0) / 3.0])
    few = oscillation.regularity(crossing_after(*[4, 6] * 5, 40, 1, 40, 7), intervals=3)
    assert few.intervals.tolist() == [3]
    assert few.period == pytest.approx([2.0 * 14.0 / 3.0])


@pytest.mark.parametrize(
    ("intervals", "count", "period"), [((), 0, np.nan), ((5,), 0, np.nan), ((5, 9), 1, 10.0)]
)
def test_one_interval_has_a_period_but_no_regularity(
    intervals: tuple[int, ...], count: int, period: float
) -> None:
    found = oscillation.regularity(crossing_after(*intervals))
    assert found.intervals.tolist() == [count]
    np.testing.assert_array_equal(found.period, [period])
    assert np.isnan(found.index).all()


def test_correlation_at_a_lag_is_the_mean_product_over_the_deviations() -> None:
    """Biased: of fewer products, but over the same sum."""
    first, second = np.array([[1.0, -1.0, 2.0, -2.0]]), np.array([[0.0, 3.0, -3.0, 0.0]])
    scale = np.sqrt(10.0 * 18.0)
    expected = [(-3.0 - 6.0) / scale, (3.0 + 3.0) / scale, -3.0 / scale, 0.0]
    assert oscillation.cross_correlation(first, second)[0] == pytest.approx(expected, abs=1e-12)
    assert oscillation.cross_correlation(first, second, 2).shape == (1, 2)
    # A level on either is taken off.
    shifted = oscillation.cross_correlation(first + 7.0, second - 4.0)
    assert shifted[0] == pytest.approx(expected, abs=1e-12)


@pytest.mark.parametrize(
    ("row", "ratio"),
    [
        # Low 0.2 at lag 2, high 0.6 at 4, low 0.0 at 7: the high stands above the line between
        # the lows by 0.6 - (0.2 - 0.2 * 2 / 5), the low below that to the high by 0.8 - 0.2.
        ([1.0, 0.5, 0.2, 0.4, 0.6, 0.3, 0.1, 0.0, 0.1], (0.6 - 0.12) / (0.8 - 0.2)),
        # No second low, no high, no low at all.
        ([1.0, 0.5, 0.2, 0.4, 0.6, 0.3, 0.2, 0.1, 0.0], 0.0),
        ([1.0, 0.5, 0.2, 0.4, 0.6, 0.7, 0.8, 0.9, 1.0], 0.0),
        ([1.0, 0.9, 0.8, 0.7, 0.6, 0.5, 0.4, 0.3, 0.2], 0.0),
        # A flat bottom and a flat top count from their first lag.
        ([1.0, -0.5, -0.5, 0.5, 0.5, -0.5, -0.5, 0.5, 0.5], 1.0 / (1.0 - 0.5 / 3 + 0.5)),
    ],
)
def test_decay_ratios_by_hand(row: list[float], ratio: float) -> None:
    found = oscillation.decay_ratio(np.array([row, [1.0] * len(row)]))
    assert found == pytest.approx([ratio, 0.0])


def test_detrending_is_a_least_squares_line_or_parabola() -> None:
    steps = np.arange(50.0)
    rows = np.random.default_rng(6).normal(size=(2, 50)) + 0.1 * steps + 0.02 * steps**2
    for degree in (1, 2):
        fits = [np.polyval(np.polyfit(steps, row, degree), steps) for row in rows]
        assert oscillation.detrend(rows, degree) == pytest.approx(rows - np.array(fits), abs=1e-9)
    assert oscillation.detrend(rows) == pytest.approx(oscillation.detrend(rows, 1))
    rows[0, 3] = np.nan
    assert np.isnan(oscillation.detrend(rows)).all(axis=1).tolist() == [True, False]
