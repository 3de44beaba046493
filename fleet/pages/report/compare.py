"""Two spans of one system's past on one scale: start and end of a period, before and after a visit.

A span's mean is given with what the days leave open about it. Nothing is called better or worse on
fewer days than ``LEAST_DAYS`` in each span.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
from django.utils.translation import gettext as _

from diagnostics.drift import MEMORY
from diagnostics.samples import FloatArray
from fleet.pages import words
from fleet.pages.days.past import Past
from fleet.pages.units import Preference, degree_hours, difference

SPAN_DAYS = 14
LEAST_DAYS = 5
CHANGED = 0.25
"""Change of the mean chance of a fault below which a system is about the same."""

_SURE = 2.0
WEEK_DAYS = 7


@dataclass(frozen=True)
class Side:
    """One span. Means over its days; None where fewer than LEAST_DAYS can tell.

    fault: chance that something is wrong. off_k, doubt_k: upstream subcooling less the system's
    own expectation, and half the width of its 95 % interval [K]. short_kh: a week, rooms short.
    """

    first: date
    last: date
    fault: float | None
    off_k: float | None
    doubt_k: float | None
    short_kh: float | None

    @property
    def fault_text(self) -> str:
        """As printed."""
        return "–" if self.fault is None else words.percent(self.fault)

    def off_text(self, prefer: Preference) -> str:
        """As printed, with its doubt."""
        if self.off_k is None or self.doubt_k is None:
            return "–"
        sign = "+" if self.off_k > 0 else ""
        doubt = difference(self.doubt_k, prefer)
        return f"{sign}{difference(self.off_k, prefer)} ± {doubt}"

    def short_text(self, prefer: Preference) -> str:
        """As printed, a week."""
        return degree_hours(self.short_kh, prefer)


@dataclass(frozen=True)
class Comparison:
    """A span beside a later one."""

    before: Side
    after: Side

    @property
    def code(self) -> str:
        """better, worse, about-the-same, or cannot-be-told."""
        if self.before.fault is None or self.after.fault is None:
            return "cannot-be-told"
        change = self.after.fault - self.before.fault
        if abs(change) < CHANGED:
            return "about-the-same"
        return "worse" if change > 0 else "better"

    @property
    def word(self) -> str:
        """The same in words."""
        return {
            "better": _("better"),
            "about-the-same": _("about the same"),
            "worse": _("worse"),
            "cannot-be-told": _("cannot be told"),
        }[self.code]

    @property
    def told(self) -> bool:
        """Whether there is anything to print."""
        return self.code != "cannot-be-told"


WIDTH = 160.0
"""Of the small drawing in which both sides stand on one scale about the expectation."""


@dataclass(frozen=True)
class Whisker:
    """One side as drawn: its mean, and the ends of its 95 % interval."""

    at: float
    low: float
    high: float


@dataclass(frozen=True)
class Row:
    """A comparison as printed; ``before`` and ``after`` are drawn on the scale of its table."""

    title: str
    comparison: Comparison
    prefer: Preference
    before: Whisker | None
    after: Whisker | None

    @property
    def off(self) -> tuple[str, str]:
        """Subcooling against the expectation, before and after."""
        return self._sides("off_text")

    @property
    def short(self) -> tuple[str, str]:
        """Degree-hours a week, before and after."""
        return self._sides("short_text")

    def _sides(self, name: str) -> tuple[str, str]:
        sides = (self.comparison.before, self.comparison.after)
        before, after = (str(getattr(side, name)(self.prefer)) for side in sides)
        return before, after


def table(items: Sequence[tuple[str, Comparison]], prefer: Preference) -> tuple[Row, ...]:
    """Titled comparisons as rows on one scale, zero in the middle."""
    sides = [side for _, it in items for side in (it.before, it.after)]
    most = max((_reach(side) for side in sides), default=0.0) or 1.0
    return tuple(
        Row(title, it, prefer, _whisker(it.before, most), _whisker(it.after, most))
        for title, it in items
    )


def _reach(side: Side) -> float:
    return 0.0 if side.off_k is None or side.doubt_k is None else abs(side.off_k) + side.doubt_k


def _whisker(side: Side, most: float) -> Whisker | None:
    if side.off_k is None or side.doubt_k is None:
        return None
    ends_k = (side.off_k, side.off_k - side.doubt_k, side.off_k + side.doubt_k)
    return Whisker(*(WIDTH / 2 * (1.0 + 0.94 * it / most) for it in ends_k))


def ends(past: Past, first: date, last: date) -> Comparison:
    """The first and the last fortnight of a period; nothing to tell where they would meet."""
    span = timedelta(days=SPAN_DAYS - 1)
    if (last - first).days + 1 < 2 * SPAN_DAYS:
        return Comparison(_nothing(first, last), _nothing(first, last))
    return Comparison(_side(past, first, first + span), _side(past, last - span, last))


def around(past: Past, day: date) -> Comparison:
    """The fortnights before and after a day, which belongs to neither."""
    one, span = timedelta(days=1), timedelta(days=SPAN_DAYS)
    return Comparison(_side(past, day - span, day - one), _side(past, day + one, day + span))


def _side(past: Past, first: date, last: date) -> Side:
    inside = past.within(first, last)
    off = (past.subcooling_k - past.expected_k)[inside]
    off_k, doubt_k = _with_doubt(off, past.sigma_k[inside])
    short = _mean(past.short_kh[inside])
    return Side(
        first,
        last,
        _mean(past.fault[inside]),
        off_k,
        doubt_k,
        None if short is None else WEEK_DAYS * short,
    )


def _nothing(first: date, last: date) -> Side:
    return Side(first, last, None, None, None, None)


def _mean(values: FloatArray) -> float | None:
    known = values[np.isfinite(values)]
    return float(known.mean()) if known.size >= LEAST_DAYS else None


def _with_doubt(values: FloatArray, sigma: FloatArray) -> tuple[float | None, float | None]:
    """Mean and half of its 95 % interval.

    The expectation may be wrong for all days alike, so that its uncertainty does not average out.
    """
    known = np.isfinite(values)
    count = int(known.sum())
    if count < LEAST_DAYS:
        return None, None
    scatter = MEMORY * float(values[known].std(ddof=1)) / np.sqrt(count)
    return float(values[known].mean()), _SURE * float(np.hypot(scatter, sigma[known].mean()))
