"""Slow leaks are projected; seasons, steps and noise are not called leaks."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pytest
from statsmodels.datasets import nile
from statsmodels.regression.linear_model import GLS

from diagnostics import drift as drifts
from diagnostics import expectation
from diagnostics.drift import Days, Drift, Kind
from diagnostics.expectation import Baseline
from diagnostics.samples import FloatArray
from diagnostics.windows import INDEX, Windows, empty
from tests.diagnostics.rows import windows

START = np.datetime64("2026-01-01", "us")
DAY = np.timedelta64(1, "D")


@dataclass(frozen=True)
class History:
    """How one system's subcooling goes, a row a day.

    phase_days: of the seasons' sine. per_air, per_load: K per K of outdoor air and per full load.
    leak_k: fall a day from ``leak_from``. step_k: change of level on ``step_on``. memory:
    autocorrelation of the noise from day to day. kept: share of days with operation.
    """

    days: int = 200
    swing_k: float = 10.0
    phase_days: float = 0.0
    per_air: float = 0.0
    per_load: float = 0.0
    leak_k: float = 0.0
    leak_from: int = 80
    step_k: float = 0.0
    step_on: int = 80
    noise_k: float = 0.5
    memory: float = 0.3
    kept: float = 0.8

    def rows(self, rng: np.random.Generator) -> Windows:
        """The days as rows."""
        day = np.arange(self.days)
        season = self.swing_k * np.sin(2 * np.pi * (day + self.phase_days) / 365.0)
        air = 293.15 + season + 3.0 * rng.normal(size=self.days)
        load = np.clip(0.5 + 0.015 * (air - 293.15) + 0.08 * rng.normal(size=self.days), 0.1, 1.0)
        subcooling = 5.0 + self.per_air * (air - 293.15) + self.per_load * (load - 0.5)
        subcooling += self._noise(rng) - self.leak_k * np.maximum(day - self.leak_from, 0)
        subcooling += self.step_k * (day >= self.step_on)
        features = windows(self.days).features.copy()
        for name, column in (
            ("subcooling_to_indoor_k", subcooling),
            ("air_to_indoor_k", air),
            ("load_to_indoor", load),
            ("to_indoor_s", np.where(rng.random(self.days) < self.kept, 20_000.0, 0.0)),
        ):
            features[:, INDEX[name]] = column
        return Windows(START + day * DAY, features)

    def _noise(self, rng: np.random.Generator) -> FloatArray:
        fresh = rng.normal(size=self.days) * self.noise_k
        for i in range(1, self.days):
            fresh[i] = self.memory * fresh[i - 1] + np.sqrt(1 - self.memory**2) * fresh[i]
        return fresh


def baseline(rows: Windows) -> Baseline:
    """Learned from the first two months."""
    learned = expectation.learn(rows.rows(slice(0, 60)))
    assert learned is not None
    return learned


def said(history: History, seed: int, day: int | None = None) -> Drift:
    """The answer as of ``day``."""
    rows = history.rows(np.random.default_rng(seed))
    return drifts.drift(rows.rows(slice(0, day)), baseline(rows))


def test_a_slow_leak_is_called_and_its_date_is_in_the_interval() -> None:
    """0.03 K a day from day 80 on: 5 K become 1 K on day 213; asked three weeks before."""
    true = START.astype("datetime64[D]") + 213
    called = inside = 0
    for seed in range(20):
        found = said(History(leak_k=0.03, phase_days=18.0 * seed, per_air=0.04), seed, 190)
        if found.kind is Kind.FALLING:
            assert found.slope is not None
            assert found.slope.high_per_day < 0.0
            assert found.reaches is not None
            assert found.reaches.earliest is not None
            latest = found.reaches.latest
            called += 1
            inside += bool(found.reaches.earliest <= true and (latest is None or true <= latest))
    assert called >= 15
    assert inside >= 0.85 * called


def test_the_sentence_tells_the_rate_and_the_dates() -> None:
    found = said(History(leak_k=0.03), 1, 170)
    assert found.reaches is not None
    assert found.slope is not None
    rate = f"by {-7 * found.slope.per_day:.2f} K a week"
    assert found.sentence.startswith(f"Subcooling has fallen below the system's own past {rate}")
    assert f"comes down to 1 K about {found.reaches.likely}" in found.sentence


def test_a_leak_that_is_through_has_no_date_to_come() -> None:
    found = said(History(leak_k=0.05), 3, 175)
    assert found.kind is Kind.FALLING
    assert found.sentence.endswith("it stands below 1 K.")


def test_a_leak_is_called_before_there_is_flash_gas() -> None:
    """0.05 K a day from day 80 on reaches 1 K on day 160."""
    assert said(History(leak_k=0.05), 3, 140).kind is Kind.FALLING


@pytest.mark.parametrize("phase_days", [0.0, 90.0, 180.0, 270.0])
@pytest.mark.parametrize("per_air", [-0.12, 0.12])
def test_a_season_is_no_drift_however_it_was_met(phase_days: float, per_air: float) -> None:
    """Air swings by 20 K over the year, after a baseline of three weeks of one season."""
    history = History(days=365, phase_days=phase_days, per_air=per_air)
    rows = history.rows(np.random.default_rng(7))
    learned = baseline(rows)
    kinds = {drifts.drift(rows.rows(slice(0, day)), learned).kind for day in range(40, 365, 15)}
    assert kinds == {Kind.STEADY}


def test_the_same_season_would_be_a_drift_without_the_baseline_s_doubt() -> None:
    """That the season could be called at all: a baseline sure of its wrong coefficient."""
    rows = History(days=200, phase_days=270.0, per_air=-0.12).rows(np.random.default_rng(7))
    sure = Baseline(np.array([6.2, 0.0, 0.0, 0.0]), np.zeros((4, 4)), 21)
    assert drifts.drift(rows, sure).kind in (Kind.FALLING, Kind.STEP)


def test_a_step_is_called_a_step_and_dated() -> None:
    found = said(History(days=150, step_k=-3.0, step_on=110, per_air=0.03), 4)
    assert found.kind is Kind.STEP
    assert found.step_k == pytest.approx(-3.0, abs=0.6)
    assert found.since is not None
    assert abs((found.since - START.astype("datetime64[D]")) / DAY - 110) <= 3
    assert "fell by" in found.sentence
    assert "no slow leak" in found.sentence
    assert found.reaches is None


def test_a_rise_is_told_without_a_date() -> None:
    found = said(History(leak_k=-0.05), 5, 150)
    assert found.kind is Kind.RISING
    assert found.reaches is None
    assert "has risen" in found.sentence


def test_what_was_repaired_long_ago_is_forgotten() -> None:
    history = History(days=330, step_k=-3.0, step_on=80)
    rows = history.rows(np.random.default_rng(6))
    after = Baseline(np.array([2.0, 0.0, 0.0, 0.0]), np.zeros((4, 4)), 21)
    assert drifts.drift(rows, after).kind is Kind.STEADY


def test_few_days_are_not_judged() -> None:
    rows = History(days=60, kept=0.15).rows(np.random.default_rng(8))
    learned = baseline(History(days=60).rows(np.random.default_rng(8)))
    found = drifts.drift(rows, learned)
    assert found.kind is Kind.UNKNOWN
    assert f"({found.days})" in found.sentence
    assert found.days < drifts.LEAST_DAYS
    assert drifts.drift(empty(), learned).kind is Kind.UNKNOWN


def nile_days() -> Days:
    """The yearly flow as if a year were a day, against the mean of its first twenty."""
    data = nile.load_pandas().data
    year, flow = data["year"].to_numpy(float), data["volume"].to_numpy(float)
    usual, noise = flow[:20].mean(), flow[:20].std(ddof=1)
    return Days(
        date=START.astype("datetime64[D]") + np.arange(year.size),
        number=year - year[0],
        residual=flow - usual,
        expected=np.full(year.size, usual),
        covariance=noise**2 * (np.eye(year.size) + 1.0 / 20.0),
        noise_k=noise,
    )


def test_the_nile_steps_after_1898_and_does_not_slope() -> None:
    """Cobb 1978 (Biometrika 65:243-251): a step near 1898, from about 1098 to 850."""
    slope, step = drifts.changes(nile_days())
    assert 1871 + step.first == 1899
    assert step.height == pytest.approx(849.97 - 1097.75, abs=15.0)
    assert step.z**2 > slope.z**2 + drifts.STEP_EVIDENCE


def test_heights_and_their_errors_are_those_of_generalised_least_squares() -> None:
    """Against statsmodels, with the covariance taken as known."""
    days = nile_days()
    slope, step = drifts.changes(days)
    shapes = (
        (slope, np.maximum(days.number - days.number[slope.first], 0.0)),
        (step, (days.number >= days.number[step.first]).astype(np.float64)),
    )
    for change, shape in shapes:
        fit = GLS(days.residual, shape, sigma=days.covariance).fit()
        assert change.height == pytest.approx(fit.params[0], rel=1e-9)
        assert change.error == pytest.approx(np.sqrt(fit.normalized_cov_params[0, 0]), rel=1e-9)


def test_the_noise_alone_seldom_slopes() -> None:
    """1,000 healthy systems of 80 comparable days with the memory that ``MEMORY`` is for."""
    rng = np.random.default_rng(9)
    days, memory = 80, 0.26
    noise = np.sqrt(1.0 - memory**2) * rng.normal(size=(1000, days))
    for i in range(1, days):
        noise[:, i] += memory * noise[:, i - 1]
    number = np.arange(days, dtype=np.float64)
    date = START.astype("datetime64[D]") + np.arange(days)
    covariance = drifts.MEMORY**2 * np.eye(days)
    leak = 0.12 * np.maximum(number - 55.0, 0.0)

    def heights(rows: FloatArray) -> FloatArray:
        found = (Days(date, number, row, number, covariance, drifts.MEMORY) for row in rows)
        return np.array([drifts.changes(days)[0].z for days in found])

    assert np.count_nonzero(heights(noise) < -drifts.FALLING_Z) <= 1
    assert np.count_nonzero(heights(noise[:100] - leak) < -drifts.FALLING_Z) >= 95


def test_a_healthy_fleet_is_seldom_called_drifting() -> None:
    """30 systems over a year, looked at weekly: seasons, loads and noise with memory."""
    rng = np.random.default_rng(10)
    calls = looks = 0
    for _ in range(30):
        history = History(
            days=365,
            phase_days=rng.uniform(0.0, 365.0),
            per_air=0.08 * rng.normal(),
            per_load=2.0 * rng.normal(),
            noise_k=0.7,
        )
        rows = history.rows(rng)
        learned = baseline(rows)
        kinds = [drifts.drift(rows.rows(slice(0, day)), learned).kind for day in range(35, 365, 7)]
        called = np.isin(kinds, [Kind.UNKNOWN, Kind.STEADY], invert=True)
        calls += int(called[0]) + int((called[1:] & ~called[:-1]).sum())
        looks += len(kinds)
    assert looks == 1440
    assert calls <= 1


def test_a_leak_too_slow_to_come_down_within_two_years_has_no_date() -> None:
    """4 K at 0.005 K a day would take 800 days."""
    count = 300
    number = np.arange(count, dtype=float)
    days = Days(
        date=START.astype("datetime64[D]") + np.arange(count),
        number=number,
        residual=-0.005 * number,
        expected=np.full(count, 6.5),
        covariance=1e-4 * np.eye(count),
        noise_k=0.01,
    )
    found = drifts._sloped(days, drifts.changes(days)[0])
    assert found.subcooling_k == pytest.approx(6.5 - 0.005 * 299)
    assert found.reaches is not None
    assert found.reaches.likely is None
    assert found.sentence.endswith("at this rate it stays above 1 K for two years.")


def test_the_likely_date_is_the_height_above_one_kelvin_over_the_rate() -> None:
    """5 K at 0.02 K a day: 200 days after the last."""
    count = 100
    number = np.arange(count, dtype=float)
    days = Days(
        date=START.astype("datetime64[D]") + np.arange(count),
        number=number,
        residual=-0.02 * number,
        expected=np.full(count, 6.0 + 0.02 * 99),
        covariance=1e-6 * np.eye(count),
        noise_k=0.001,
    )
    found = drifts._sloped(days, drifts.changes(days)[0])
    assert found.slope is not None
    assert found.slope.per_day == pytest.approx(-0.02)
    assert found.reaches is not None
    assert found.reaches.likely == days.date[-1] + 250


@pytest.mark.parametrize(("count", "held"), [(40, 10), (10, 10), (4, 4)])
def test_dates_reach_as_far_as_height_and_rate_are_doubted(count: int, held: int) -> None:
    """5 K to go at 0.02 K a day (0.03 to 0.01), half as fast again or as slow; the height is good
    to twice the noise of ten days, or of as many as there are."""
    days = Days(
        date=START.astype("datetime64[D]") + np.arange(count),
        number=np.arange(count, dtype=float),
        residual=np.zeros(count),
        expected=np.zeros(count),
        covariance=np.eye(count),
        noise_k=0.5,
    )
    found = drifts._reach(days, drifts.Slope(-0.02, -0.03, -0.01), 6.0, count)
    last, doubt = days.date[-1], 2 * 0.5 / held**0.5
    assert found.likely == last + 250
    assert found.earliest == last + round((5.0 - doubt) / 0.045)
    wait = (5.0 + doubt) / (0.01 / 1.5)
    assert found.latest == (last + round(wait) if wait <= 730 else None)
    gone = drifts._reach(days, drifts.Slope(-0.02, -0.03, -0.01), 0.5, count)
    assert gone.likely == last


def test_a_date_two_years_ahead_is_the_last_that_is_given() -> None:
    days = Days(START.astype("datetime64[D]") + np.arange(2), *[np.zeros(2)] * 3, np.eye(2), 0.0)
    steady = drifts.Slope(-0.01, -0.01, -0.01)
    assert drifts._reach(days, steady, 8.3, 2).likely == days.date[-1] + 730
    assert drifts._reach(days, steady, 8.32, 2).likely is None


def test_rates_in_words_go_from_the_slower_to_the_faster() -> None:
    found = said(History(leak_k=0.03), 1, 170)
    assert found.slope is not None
    low, high = -7 * found.slope.high_per_day, -7 * found.slope.low_per_day
    assert 0.0 < low < high
    assert f" K a week ({low:.2f} to {high:.2f}) for " in found.sentence
