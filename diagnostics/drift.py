"""A slow leak before it shows: daily subcooling falling below the system's own past.

The daily residual of upstream subcooling against the baseline is free of weather and load as far as
the baseline has learned them. Two histories are held against "nothing changed": a level that began
to slope on some day (a leak), and one that stepped. Each is fitted by generalised least squares
under the covariance of the days' own noise and of what the baseline may have learned wrongly, which
shifts all days of a season alike and so is never taken for a drift. The height over its standard
error, at the likeliest day, is the test (a likelihood ratio over an unknown time of change:
Basseville and Nikiforov 1993, Detection of Abrupt Changes, chapter 2.4).
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

import numpy as np
import scipy
from numpy.typing import NDArray

from diagnostics import expectation, pooling
from diagnostics.expectation import Baseline
from diagnostics.samples import FloatArray, TimeArray
from diagnostics.windows import Windows

SPAN_DAYS = 120
"""Older days say nothing of what is going on now."""

LEAST_DAYS = 14
"""Days with half an hour of steady operation without which no drift is looked for."""

REACHED_K = 1.0
"""Upstream subcooling at which flash gas begins to be likely (common practice, no source)."""

HORIZON_DAYS = 730
"""Dates further away are not given."""

MEMORY = 1.3
"""Days remember their neighbours: sums of a series with autocorrelation 0.26 spread by
sqrt(1.26 / 0.74) as much as independent days."""

LEAST_NOISE_K = 0.3
"""A system's few learned days may repeat themselves better than its days do."""

FALLING_Z, OTHER_Z = 3.3, 5.0
"""Standard errors from which a fall, and from which a rise or a step is told. A leak presses, the
others do not. On healthy systems followed for four months through the seasons no look at 3.3 told a
fall (tuning seed 42, 24 systems)."""

STEP_EVIDENCE = 6.0
"""A step has no parameter more than a slope; it must still be better by this much in twice the
logarithm of the likelihood: strong evidence (Kass and Raftery, Journal of the American Statistical
Association 90:773-795, 1995), because the first days of a leak look like a step."""

LEAST_CHANGE_K = 1.2
"""The last days must be off by as much: less is within what one season may teach wrongly of another
(our own choice)."""

BEND = 1.5
"""A leak steady in mass is not steady in subcooling: the rate may change by this factor before the
level is reached (our own choice; on tuning fleets dates without it were too narrow)."""

_SURE = 2.0
_LAST = 3
"""Values that a slope or a step needs behind its beginning, and that tell where it stands."""


class Kind(StrEnum):
    """What the subcooling does."""

    UNKNOWN = "unknown"
    STEADY = "steady"
    STEP = "step"
    FALLING = "falling"
    RISING = "rising"


@dataclass(frozen=True)
class Slope:
    """Change a day [K] with the bounds of its 95 % interval, which hold the baseline's doubt."""

    per_day: float
    low_per_day: float
    high_per_day: float


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
    after the step. step_k: height of the step. subcooling_k: where the subcooling stands. reaches:
    when it comes down to REACHED_K. What does not apply is None.
    """

    kind: Kind
    days: int
    sentence: str
    since: np.datetime64 | None = None
    slope: Slope | None = None
    step_k: float | None = None
    subcooling_k: float | None = None
    reaches: Reach | None = None


@dataclass(frozen=True, eq=False)
class Days:
    """Comparable days, each shape (n,): date, number of days since the first, residual and expected
    subcooling [K]; covariance of the residuals (n, n) [K2]; noise of one day [K]."""

    date: TimeArray
    number: FloatArray
    residual: FloatArray
    expected: FloatArray
    covariance: FloatArray
    noise_k: float


@dataclass(frozen=True)
class Change:
    """The likeliest of the histories tried: index of its first day, height, its standard error."""

    first: int
    height: float
    error: float

    @property
    def z(self) -> float:
        """Height in standard errors."""
        return self.height / self.error


def drift(windows: Windows, baseline: Baseline) -> Drift:
    """What the system's subcooling does as of its last window.

    windows: every row of the system, ascending. baseline: what was usual, of the same system.
    """
    days = _comparable(windows, baseline)
    count = len(days.number)
    if count < LEAST_DAYS:
        return Drift(Kind.UNKNOWN, count, f"Too few comparable days ({count}) to speak of a drift.")
    slope, step = changes(days)
    if step.z**2 > slope.z**2 + STEP_EVIDENCE:
        return _stepped(days, step) if abs(step.z) >= OTHER_Z else _steady(count)
    off = float(days.residual[-_LAST:].mean())
    away = off * slope.height > 0.0 and abs(off) >= LEAST_CHANGE_K
    if not away or abs(slope.z) < (FALLING_Z if slope.height < 0.0 else OTHER_Z):
        return _steady(count)
    return _sloped(days, slope)


def _steady(count: int) -> Drift:
    return Drift(Kind.STEADY, count, "Subcooling keeps to what the system's own past lets expect.")


def _comparable(windows: Windows, baseline: Baseline) -> Days:
    rows = pooling.daily(windows)
    rows = rows.rows(expectation.usable(rows))
    date = rows.start.astype("datetime64[D]")
    recent = date > date[-1] - SPAN_DAYS if date.size else np.zeros(0, dtype=bool)
    rows, date = rows.rows(recent), date[recent]
    columns = expectation.design(rows)
    expected = columns @ baseline.mean
    noise_k = MEMORY * max(LEAST_NOISE_K, baseline.noise_k)
    # The days learned from tell nothing more of how wrong the coefficients are, and their memory
    # made these as much worse as it makes any mean of days.
    doubted = columns * ~(date <= baseline.until)[:, None]
    return Days(
        date=date,
        number=(date - date[:1]) / np.timedelta64(1, "D"),
        residual=rows.column("subcooling_to_indoor_k") - expected,
        expected=expected,
        covariance=noise_k**2 * np.eye(date.size)
        + MEMORY**2 * doubted @ baseline.covariance @ doubted.T,
        noise_k=noise_k,
    )


def changes(days: Days) -> tuple[Change, Change]:
    """The likeliest slope and the likeliest step, whatever day either began."""
    count = days.number.size
    began = np.arange(count - _LAST)
    slopes = np.maximum(days.number[:, None] - days.number[None, began], 0.0)
    stepped = np.arange(1, count - _LAST + 1)
    steps = (np.arange(count)[:, None] >= stepped).astype(np.float64)
    whole = np.column_stack([days.residual, slopes, steps])
    white = scipy.linalg.solve_triangular(np.linalg.cholesky(days.covariance), whole, lower=True)
    residual, shapes = white[:, 0], white[:, 1:]
    weight = (shapes**2).sum(axis=0)
    height, error = residual @ shapes / weight, 1.0 / np.sqrt(weight)
    return (
        _likeliest(height[: began.size], error[: began.size], began),
        _likeliest(height[began.size :], error[began.size :], stepped),
    )


def _likeliest(height: FloatArray, error: FloatArray, first: NDArray[np.intp]) -> Change:
    best = int(np.abs(height / error).argmax())
    return Change(int(first[best]), float(height[best]), float(error[best]))


def _stepped(days: Days, step: Change) -> Drift:
    word, on = ("rose" if step.height > 0 else "fell"), days.date[step.first]
    return Drift(
        Kind.STEP,
        days.number.size,
        f"Subcooling {word} by {abs(step.height):.1f} K in one step about {on}: look up what was "
        "done then; this is no slow leak.",
        since=on,
        step_k=step.height,
        subcooling_k=_now(days, step.height),
    )


def _now(days: Days, residual: float) -> float:
    """Subcooling with this residual under the conditions of the last days [K]."""
    return float(np.median(days.expected[-LEAST_DAYS:]) + residual)


def _sloped(days: Days, change: Change) -> Drift:
    doubt = _SURE * change.error
    slope = Slope(change.height, change.height - doubt, change.height + doubt)
    count, since = days.number.size, days.date[change.first]
    span = int(days.number[-1] - days.number[change.first])
    now = _now(days, slope.per_day * span)
    rate = sorted(abs(7.0 * it) for it in (slope.low_per_day, slope.high_per_day))
    said = f"by {abs(7.0 * slope.per_day):.2f} K a week ({rate[0]:.2f} to {rate[1]:.2f}) for {span}"
    if slope.per_day > 0.0:
        sentence = f"Subcooling has risen against the system's own past {said} days."
        return Drift(Kind.RISING, count, sentence, since, slope, None, now)
    reaches = _reach(days, slope, now, count - change.first)
    words = f"it stands below {REACHED_K:.0f} K." if now < REACHED_K else _words(reaches)
    sentence = f"Subcooling has fallen below the system's own past {said} days; {words}"
    return Drift(Kind.FALLING, count, sentence, since, slope, None, now, reaches)


def _reach(days: Days, slope: Slope, now_k: float, count: int) -> Reach:
    """Dates from the line's end, its height good to the noise of ten days or fewer."""
    distance, doubt = now_k - REACHED_K, _SURE * days.noise_k / np.sqrt(min(count, 10))

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
