"""A slow leak before it shows: daily subcooling falling below the system's own past.

The daily residual of upstream subcooling against the baseline is free of weather and load as far as
the baseline has learned them; what it may have learned wrongly is told by its covariance and never
called a drift. A call needs all of: a CUSUM past a limit set for the fleet, a slope and not one
step, its interval wholly on one side of zero, and a significant Mann-Kendall test.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from diagnostics import pooling, trend
from diagnostics.expectation import NOISE_K, Baseline, design
from diagnostics.samples import FloatArray, TimeArray
from diagnostics.trend import Shape, Slope
from diagnostics.windows import Windows

SPAN_DAYS = 120
"""Older days say nothing of what is going on now."""

LEAST_DAYS = 14
"""Days with half an hour of steady operation without which no drift is looked for."""

REACHED_K = 1.0
"""Upstream subcooling at which flash gas begins to be likely (common practice, no source)."""

HORIZON_DAYS = 730
"""Dates further away are not given."""

SYSTEM_WEEKS = 1000
ALLOWANCE = 0.5
LIMIT = trend.limit_for_run_length(7.0 * SYSTEM_WEEKS, ALLOWANCE)
"""CUSUM limit with one false alarm in 1,000 system-weeks of one value a day."""

MEMORY = 1.4
"""Days remember their neighbours: sums of a series with autocorrelation 0.3 spread by
sqrt(1.3 / 0.7) as much as independent days."""

LEAST_NOISE_K = NOISE_K / 2
"""A system's own days may repeat themselves better than a learner may expect of any system; better
than half of that is taken for luck."""

_LEAST_S = 1800.0
_SURE = 2.0
_SIGNIFICANT = 0.01
_SLOPE_DAYS = 6
"""The fewest values whose Mann-Kendall test can reach ``_SIGNIFICANT`` at all: with six in falling
order its normal approximation gives p = 0.0085, with five 0.028."""

BEND = 1.5
"""A leak steady in mass is not steady in subcooling: the rate may change by this factor before the
level is reached (our own choice; on tuning fleets dates without it were too narrow)."""

_NORMAL_MAD = 1.4826


class Kind(StrEnum):
    """What the subcooling does."""

    UNKNOWN = "unknown"
    STEADY = "steady"
    STEP = "step"
    FALLING = "falling"
    RISING = "rising"


@dataclass(frozen=True)
class Reach:
    """Dates (datetime64[D]) on which a level is reached; None beyond the horizon."""

    earliest: np.datetime64 | None
    likely: np.datetime64 | None
    latest: np.datetime64 | None


@dataclass(frozen=True)
class Drift:
    """What daily upstream subcooling does against the system's own past.

    days: with enough steady operation, of the last SPAN_DAYS. since: the first day of the slope or
    after the step. slope: K a day with a 95 % interval that holds the baseline's own doubt. p: of
    the Mann-Kendall test. step_k: height of the step. subcooling_k: where the subcooling stands.
    reaches: when it comes down to REACHED_K. What does not apply is None.
    """

    kind: Kind
    days: int
    sentence: str
    since: np.datetime64 | None = None
    slope: Slope | None = None
    p: float | None = None
    step_k: float | None = None
    subcooling_k: float | None = None
    reaches: Reach | None = None


@dataclass(frozen=True, eq=False)
class _Days:
    """Usable days, each shape (n,): date, number of days since the first, residual and expected
    subcooling [K], standard doubt of the baseline itself [K], its columns (n, 3); noise [K]."""

    date: TimeArray
    number: FloatArray
    residual: FloatArray
    expected: FloatArray
    doubt: FloatArray
    columns: FloatArray
    noise: float


def drift(windows: Windows, baseline: Baseline) -> Drift:
    """What the system's subcooling does as of its last window.

    windows: every row of the system, ascending. baseline: what was usual, of the same system.
    """
    days = _usable(windows, baseline)
    count = len(days.number)
    if count < LEAST_DAYS:
        return Drift(Kind.UNKNOWN, count, f"Too few comparable days ({count}) to speak of a drift.")
    if not _out_of_control(days):
        sentence = "Subcooling keeps to what the system's own past lets expect."
        return Drift(Kind.STEADY, count, sentence)
    shape, first = _shape(days)
    if shape is Shape.STEP:
        return _stepped(days, first)
    return _sloped(days, first, baseline)


def _usable(windows: Windows, baseline: Baseline) -> _Days:
    rows = pooling.daily(windows)
    good = rows.column("to_indoor_s") >= _LEAST_S
    good &= np.isfinite(rows.column("subcooling_to_indoor_k"))
    good &= np.isfinite(rows.column("air_to_indoor_k") + rows.column("load_to_indoor"))
    rows = rows.rows(good)
    expected, _ = baseline.predict(rows)
    columns = design(rows)
    residual = rows.column("subcooling_to_indoor_k") - expected
    date = rows.start.astype("datetime64[D]")
    recent = date > date[-1] - SPAN_DAYS if date.size else np.zeros(0, dtype=bool)
    doubt = np.sqrt(np.einsum("ij,jk,ik->i", columns, baseline.covariance, columns))
    # The learned days come first: their spread is noise, whatever happens later.
    learned = residual[: max(baseline.days, LEAST_DAYS)]
    spread = (
        _NORMAL_MAD * float(np.median(np.abs(learned - np.median(learned)))) if date.size else 0
    )
    return _Days(
        date=date[recent],
        number=(date[recent] - date[recent][:1]) / np.timedelta64(1, "D"),
        residual=residual[recent],
        expected=expected[recent],
        doubt=doubt[recent],
        columns=columns[recent],
        noise=max(LEAST_NOISE_K, spread),
    )


def _out_of_control(days: _Days) -> bool:
    """Whether residuals have left, and still are out of, what noise and the baseline's doubt allow.

    Residuals are first moved towards zero by twice the doubt: a baseline learned in one season may
    be wrong for another, and all days of that season would be wrong alike.
    """
    sure = np.sign(days.residual) * np.maximum(np.abs(days.residual) - _SURE * days.doubt, 0.0)
    chart = trend.cusum(sure / (MEMORY * days.noise), ALLOWANCE, LIMIT)
    return bool(max(chart.high[-1], chart.low[-1]) > LIMIT)


def _shape(days: _Days) -> tuple[Shape, int]:
    """A step and the first day after it, or a slope and the day it begins.

    The slope may begin anywhere before the last ``_SLOPE_DAYS`` values: a hinge, with as many
    parameters as a step, so that the smaller sum of squares decides.
    """
    step = trend.least_squares_step(days.residual)
    flat = days.residual - days.residual.mean()
    total = float(flat @ flat)
    begin = np.arange(days.number.size - _SLOPE_DAYS + 1)
    rise = np.maximum(days.number[None, :] - days.number[begin, None], 0.0)
    rise -= rise.mean(axis=1, keepdims=True)
    left = total - (rise @ flat) ** 2 / (rise**2).sum(axis=1)
    hinge = int(left.argmin())
    size = days.number.size
    broken = total - step.index * (size - step.index) / size * (step.before - step.after) ** 2
    if np.isfinite(broken) and broken < left[hinge]:
        return Shape.STEP, step.index
    return Shape.SLOPE, hinge


def _stepped(days: _Days, first: int) -> Drift:
    height = float(days.residual[first:].mean() - days.residual[:first].mean())
    word, on = ("rose" if height > 0 else "fell"), days.date[first]
    return Drift(
        Kind.STEP,
        days.number.size,
        f"Subcooling {word} by {abs(height):.1f} K in one step about {on}: look up what was done "
        "then; this is no slow leak.",
        since=on,
        step_k=height,
        subcooling_k=_mean_now(days, days.residual[first:].mean()),
    )


def _mean_now(days: _Days, residual: float) -> float:
    """Subcooling with this residual under the conditions of the last days [K]."""
    return float(np.median(days.expected[-LEAST_DAYS:]) + residual)


def _sloped(days: _Days, first: int, baseline: Baseline) -> Drift:
    number, residual = days.number[first:], days.residual[first:]
    slope = _widened(trend.theil_sen(number, residual), _slope_doubt(days, first, baseline))
    test = trend.mann_kendall(residual)
    one_sided = slope.low_per_day > 0.0 or slope.high_per_day < 0.0
    count, since = days.number.size, days.date[first]
    if not one_sided or test.p > _SIGNIFICANT:
        sentence = "Subcooling is off the system's own past, but no steady drift can be told."
        return Drift(Kind.STEADY, count, sentence, None, slope, test.p)
    now = _mean_now(days, slope.intercept + slope.per_day * number[-1])
    span = int(number[-1] - number[0])
    rate = sorted(abs(7.0 * it) for it in (slope.low_per_day, slope.high_per_day))
    said = f"by {abs(7.0 * slope.per_day):.2f} K a week ({rate[0]:.2f} to {rate[1]:.2f}) for {span}"
    if slope.per_day > 0.0:
        sentence = f"Subcooling has risen against the system's own past {said} days."
        return Drift(Kind.RISING, count, sentence, since, slope, test.p, None, now)
    reaches = _reach(days, slope, now, len(residual))
    words = f"it stands below {REACHED_K:.0f} K." if now < REACHED_K else _words(reaches)
    sentence = f"Subcooling has fallen below the system's own past {said} days; {words}"
    return Drift(Kind.FALLING, count, sentence, since, slope, test.p, None, now, reaches)


def _slope_doubt(days: _Days, first: int, baseline: Baseline) -> float:
    """Standard deviation [K a day] of the slope that wrong coefficients of the baseline feign."""
    number = days.number[first:] - days.number[first:].mean()
    feigned = number @ days.columns[first:] / (number @ number)
    return float(np.sqrt(feigned @ baseline.covariance @ feigned))


def _widened(slope: Slope, doubt: float) -> Slope:
    """The slope with its interval widened by a further, independent standard uncertainty."""
    low = np.hypot(slope.per_day - slope.low_per_day, _SURE * doubt)
    high = np.hypot(slope.high_per_day - slope.per_day, _SURE * doubt)
    return Slope(
        slope.per_day, slope.per_day - float(low), slope.per_day + float(high), slope.intercept
    )


def _reach(days: _Days, slope: Slope, now_k: float, count: int) -> Reach:
    """Dates from the line's end, its height good to the noise of ten days or fewer."""
    distance, doubt = now_k - REACHED_K, _SURE * MEMORY * days.noise / np.sqrt(min(count, 10))

    def on(height_k: float, per_day: float) -> np.datetime64 | None:
        wait = max(height_k, 0.0) / -per_day
        return days.date[-1] + round(wait) if wait <= HORIZON_DAYS else None

    return Reach(
        earliest=on(distance - doubt, BEND * slope.low_per_day),
        likely=on(distance, slope.per_day),
        latest=on(distance + doubt, slope.high_per_day / BEND),
    )


def _words(reaches: Reach) -> str:
    if reaches.likely is None:
        return f"at this rate it stays above {REACHED_K:.0f} K for two years."
    latest = "later than two years" if reaches.latest is None else str(reaches.latest)
    return (
        f"at this rate it comes down to {REACHED_K:.0f} K about {reaches.likely} "
        f"({reaches.earliest} to {latest})."
    )
