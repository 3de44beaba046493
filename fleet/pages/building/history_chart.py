"""The small history chart: where its marks go. Geometry only; the template draws."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from fleet.pages.building.history import Day
from fleet.pages.days.axes import (
    DATE_WIDTH,
    FULL_DAY_H,
    LEAST_WIDTH,
    LEFT,
    RIGHT,
    Bar,
    EventSpan,
    Tick,
    step_of,
)
from fleet.pages.units import Preference, difference, number
from fleet.pages.words import percent

TOP, BOTTOM = 34.0, 112.0


@dataclass(frozen=True)
class Mark:
    """A day's value: a circle when liquid ran to indoor, a diamond when to outdoor."""

    x: float
    y: float
    kind: str
    label: str


@dataclass(frozen=True)
class HistoryChart:
    """Everything the drawing needs, in the units of its view box."""

    unit: str
    marks: tuple[Mark, ...]
    events: tuple[Bar, ...]
    cover: tuple[Bar, ...]
    y_ticks: tuple[Tick, ...]
    x_ticks: tuple[Tick, ...]
    expected: Tick | None


@dataclass(frozen=True)
class _Axes:
    first: date
    days: int
    low: float
    high: float

    def x(self, day: date) -> float:
        return LEFT + (RIGHT - LEFT) * (day - self.first).days / self.days

    def y(self, value: float) -> float:
        return BOTTOM - (BOTTOM - TOP) * (value - self.low) / (self.high - self.low)


@dataclass(frozen=True)
class Frame:
    """What stands around the days: the last of them, the reader's units, and the expectation.

    expected_k: subcooling in cooling that this system would have when healthy [K].
    """

    last: date
    prefer: Preference
    expected_k: float | None = None


def chart(days: Sequence[Day], events: Sequence[EventSpan], frame: Frame) -> HistoryChart | None:
    """The chart of the days up to the frame's last; None when there is no day to draw."""
    if not days:
        return None
    prefer, last = frame.prefer, frame.last
    values = [v for day in days for v in (day.to_indoor_k, day.to_outdoor_k) if v is not None]
    shown = prefer.difference_of(np.asarray(values or [0.0]))
    step = step_of(float(shown.max() - min(shown.min(), 0.0)))
    axes = _Axes(
        first=days[0].day,
        days=max((last - days[0].day).days + 1, 1),
        low=step * math.floor(min(float(shown.min()), 0.0) / step),
        high=step * max(math.ceil(float(shown.max()) / step), 1),
    )
    y_values = np.arange(axes.low, axes.high + step / 2, step)
    return HistoryChart(
        unit=prefer.difference_label,
        marks=tuple(_marks(days, axes, prefer)),
        events=tuple(_event(span, axes) for span in events),
        cover=tuple(_cover(days, axes)),
        y_ticks=tuple(Tick(axes.y(float(v)), number(float(v), 0)) for v in y_values),
        x_ticks=tuple(_dates(axes)),
        expected=_expected(axes, frame),
    )


def _expected(axes: _Axes, frame: Frame) -> Tick | None:
    if frame.expected_k is None:
        return None
    shown = float(frame.prefer.difference_of(np.asarray(frame.expected_k)))
    if not axes.low <= shown <= axes.high:
        return None
    return Tick(axes.y(shown), difference(frame.expected_k, frame.prefer))


def _marks(days: Sequence[Day], axes: _Axes, prefer: Preference) -> list[Mark]:
    marks = []
    half = (RIGHT - LEFT) / axes.days / 2
    for day in days:
        for kind, value_k in (("to-indoor", day.to_indoor_k), ("to-outdoor", day.to_outdoor_k)):
            if value_k is not None:
                shown = float(prefer.difference_of(np.asarray(value_k)))
                text = f"{_day(day.day)}: {number(shown, 1)} {prefer.difference_label}"
                marks.append(Mark(axes.x(day.day) + half, axes.y(shown), kind, text))
    return marks


def _event(span: EventSpan, axes: _Axes) -> Bar:
    first = max(span.first, axes.first)
    x = axes.x(first)
    return Bar(x, max(axes.x(span.last + timedelta(days=1)) - x, LEAST_WIDTH), "event", span.label)


def _cover(days: Sequence[Day], axes: _Axes) -> list[Bar]:
    """One cell a day; days without a single sample are drawn as holes, not left out."""
    known = {day.day: day for day in days}
    width = (RIGHT - LEFT) / axes.days
    cells = []
    for i in range(axes.days):
        when = axes.first + timedelta(days=i)
        day = known.get(when)
        hours = day.logged_h if day else 0.0
        kind = "full" if hours >= FULL_DAY_H else "part" if hours > 0 else "none"
        label = _("%(day)s: %(hours)s h of data") % {"day": _day(when), "hours": f"{hours:.0f}"}
        if day and day.coverage:
            label += _(", %(share)s of running time judged") % {"share": percent(day.coverage)}
        cells.append(Bar(axes.x(when), width, kind, label))
    return cells


def _day(day: date) -> str:
    return date_format(day, "j M")


def _dates(axes: _Axes) -> list[Tick]:
    every = max(axes.days // 4, 1)
    picked = (axes.first + timedelta(days=i) for i in range(0, axes.days, every))
    ticks = [Tick(axes.x(day), _day(day)) for day in picked]
    return [tick for tick in ticks if tick.at <= RIGHT - DATE_WIDTH]
