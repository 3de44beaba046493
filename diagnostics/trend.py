"""Trends and changes in daily values: pure functions, missing days allowed.

A step passes tests for a slope (the Nile's flow, a step in 1898, has a highly significant "trend"),
so ``shape`` weighs a step against a line before anything is called a leak. Days need not be
consecutive; they only have to ascend.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from scipy import optimize, stats

from diagnostics.samples import FloatArray

MINIMUM_DAYS = 8
"""Fewer daily values say nothing about a trend."""

STEP_MARGIN = 0.15
"""Share of the days at either end in which no step is looked for, as usual for a break test."""

EVIDENCE = 6.0
"""Difference of the Bayesian information criterion that counts as strong (Kass & Raftery, Journal
of the American Statistical Association 90:773-795, 1995)."""


class Shape(StrEnum):
    """What daily values look like."""

    UNKNOWN = "unknown"
    LEVEL = "level"
    STEP = "step"
    SLOPE = "slope"


@dataclass(frozen=True)
class Slope:
    """A line through daily values; per day, with the bounds of a 95 % interval."""

    per_day: float
    low_per_day: float
    high_per_day: float
    intercept: float


@dataclass(frozen=True)
class MannKendall:
    """Test for a monotonic trend; ``s`` below 0 falls."""

    s: float
    variance: float
    z: float
    p: float


@dataclass(frozen=True)
class Step:
    """A change of level: ``index`` values lie before it.

    ``statistic`` and ``p`` belong to the test named by the function that gave the step.
    """

    index: int
    before: float
    after: float
    statistic: float
    p: float


@dataclass(frozen=True)
class Cusum:
    """Two-sided tabular CUSUM in standard deviations, each shape (n,).

    ``alarm`` is the index of the first value at which either side passes the limit; None if never.
    """

    high: FloatArray
    low: FloatArray
    alarm: int | None


@dataclass(frozen=True)
class Crossing:
    """Days from the last value until a level is reached; inf where it never is."""

    earliest_days: float
    likely_days: float
    latest_days: float


def _present(days: FloatArray, values: FloatArray) -> tuple[FloatArray, FloatArray]:
    if days.shape != values.shape or days.ndim != 1:
        raise ValueError(f"days {days.shape} and values {values.shape} must be equal and flat")
    if np.any(np.diff(days) <= 0):
        raise ValueError("days must ascend: sort them and drop repeats")
    keep = ~np.isnan(values)
    return days[keep], values[keep]


def theil_sen(days: FloatArray, values: FloatArray) -> Slope:
    """Median of the slopes of all pairs with its 95 % interval (Theil 1950, Sen 1968).

    All NaN with fewer than three values.
    """
    days, values = _present(days, values)
    if days.size < 3:
        return Slope(np.nan, np.nan, np.nan, np.nan)
    fit = stats.theilslopes(values, days, 0.95)
    return Slope(
        float(fit.slope), float(fit.low_slope), float(fit.high_slope), float(fit.intercept)
    )


def mann_kendall(values: FloatArray) -> MannKendall:
    """Mann-Kendall trend test with correction for ties (Mann 1945, Kendall 1975)."""
    values = values[~np.isnan(values)]
    n = values.size
    if n < 3:
        return MannKendall(0.0, 0.0, 0.0, 1.0)
    s = float(np.triu(np.sign(values[None, :] - values[:, None])).sum())
    _, ties = np.unique(values, return_counts=True)
    variance = float(n * (n - 1) * (2 * n + 5) - (ties * (ties - 1) * (2 * ties + 5)).sum()) / 18
    z = (s - np.sign(s)) / np.sqrt(variance) if variance > 0 else 0.0
    return MannKendall(s, variance, float(z), float(2 * stats.norm.sf(abs(z))))


def _split(values: FloatArray, index: int) -> tuple[float, float]:
    return float(values[:index].mean()), float(values[index:].mean())


def pettitt(values: FloatArray) -> Step:
    """Rank test for one step (Pettitt, Applied Statistics 28:126-135, 1979); p is approximate.

    Indices count the values present. All NaN and index 0 with fewer than three values.
    """
    values = values[~np.isnan(values)]
    n = values.size
    if n < 3:
        return Step(0, np.nan, np.nan, np.nan, 1.0)
    ranks = stats.rankdata(values)
    u = 2 * np.cumsum(ranks)[:-1] - np.arange(1, n) * (n + 1)
    index = int(np.abs(u).argmax()) + 1
    k = float(np.abs(u).max())
    p = min(1.0, 2.0 * float(np.exp(-6 * k**2 / (n**3 + n**2))))
    return Step(index, *_split(values, index), k, p)


def least_squares_step(values: FloatArray) -> Step:
    """The step that leaves the least squares; ``statistic`` is sup F, ``p`` of that F alone.

    The place is searched, so ``p`` is too small to be used as a test on its own: see ``shape``.
    """
    values = values[~np.isnan(values)]
    n = values.size
    margin = max(2, int(np.ceil(STEP_MARGIN * n)))
    if n < 2 * margin + 1:
        return Step(0, np.nan, np.nan, np.nan, 1.0)
    residual = values - values.mean()
    index = np.arange(margin, n - margin + 1)
    head = np.cumsum(residual)[index - 1]
    total = float(residual @ residual)
    left = np.maximum(total - head**2 * n / (index * (n - index)), 0.0)
    best = int(left.argmin())
    f = (total - left[best]) / (left[best] / (n - 2)) if left[best] > 0 else np.inf
    at = int(index[best])
    return Step(at, *_split(values, at), float(f), float(stats.f.sf(f, 1, n - 2)))


def _information(residual: FloatArray, parameters: int) -> float:
    """Schwarz's Bayesian information criterion of Gaussian residuals."""
    n = residual.size
    mean_square = max(float(residual @ residual) / n, 1e-12)
    return n * float(np.log(mean_square)) + parameters * float(np.log(n))


def shape(days: FloatArray, values: FloatArray) -> Shape:
    """Level, step or slope, whichever has strong evidence over the simpler one.

    A step has one parameter more than a line (its place); between the two the smaller information
    criterion decides. The criterion takes days as independent; of a series with strong memory
    neither answer should be trusted on a few weeks.
    """
    days, values = _present(days, values)
    if days.size < MINIMUM_DAYS:
        return Shape.UNKNOWN
    level = _information(values - values.mean(), 1)
    slope = _information(values - np.polynomial.Polynomial.fit(days, values, 1)(days), 2)
    step = least_squares_step(values)
    steps = np.where(np.arange(values.size) < step.index, step.before, step.after)
    broken = _information(values - steps, 3)
    if level - min(slope, broken) < EVIDENCE:
        return Shape.LEVEL
    return Shape.STEP if broken < slope else Shape.SLOPE


def cusum(z: FloatArray, allowance: float = 0.5, limit: float = 5.0) -> Cusum:
    """Two-sided tabular CUSUM of standardised values ``z``; a missing value changes nothing.

    allowance k and limit h in standard deviations. Choose h for the fleet, with
    ``limit_for_run_length``.
    """
    step = np.nan_to_num(z)
    held = np.isnan(z)

    def climb(increment: FloatArray) -> FloatArray:
        total = np.cumsum(np.where(held, 0.0, increment))
        return np.asarray(total - np.minimum(np.minimum.accumulate(total), 0.0))

    high, low = climb(step - allowance), climb(-step - allowance)
    over = np.flatnonzero(np.maximum(high, low) > limit)
    return Cusum(high, low, int(over[0]) if over.size else None)


def run_length(limit: float, shift: float = 0.0, allowance: float = 0.5) -> float:
    """Mean number of values to an alarm of the two-sided CUSUM under a shift [sigma].

    Siegmund's approximation, as in Montgomery, Introduction to Statistical Quality Control, ch. 9.
    """

    def one_side(drift: float) -> float:
        b = limit + 1.166
        if abs(drift) < 1e-9:
            return b**2
        return float((np.exp(-2 * drift * b) + 2 * drift * b - 1) / (2 * drift**2))

    return 1.0 / (1.0 / one_side(shift - allowance) + 1.0 / one_side(-shift - allowance))


def limit_for_run_length(values: float, allowance: float = 0.5) -> float:
    """The limit h [sigma] with one false alarm in ``values`` values on average.

    For a fleet: one alarm in W weeks over M systems, one value a day, is ``7 * W * M`` values.
    Raises ValueError below the shortest run length a CUSUM with a limit of 0.5 gives.
    """
    low, high = 0.5, 60.0
    shortest, longest = run_length(low, 0.0, allowance), run_length(high, 0.0, allowance)
    if not shortest <= values <= longest:
        raise ValueError(f"run length {values:g} is outside {shortest:.3g} to {longest:.3g}")
    return float(
        optimize.brentq(lambda h: np.log(run_length(h, 0.0, allowance) / values), low, high)
    )


def crossing(days: FloatArray, values: FloatArray, level: float) -> Crossing:
    """When the line through ``values`` reaches ``level``, with the bounds of its slope.

    Days are counted from the last value present; the line's height there is taken from the median
    line, so the interval holds the slope's uncertainty only. Already there gives 0.
    """
    days, values = _present(days, values)
    line = theil_sen(days, values)
    if np.isnan(line.per_day):
        return Crossing(np.inf, np.inf, np.inf)
    distance = level - (line.intercept + line.per_day * float(days[-1]))
    # Which side of the level counts as "before" follows from where the first days lay.
    start = level - float(np.median(values[: max(3, values.size // 4)]))
    if distance * start <= 0:
        return Crossing(0.0, 0.0, 0.0)

    def reach(slope: float) -> float:
        return distance / slope if slope * distance > 0 else np.inf

    ends = sorted(reach(s) for s in (line.low_per_day, line.high_per_day))
    return Crossing(ends[0], reach(line.per_day), ends[1])
