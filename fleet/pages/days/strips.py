"""The report's chart of one system: four strips over one time axis. Geometry only."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import pairwise

import numpy as np
from django.utils.formats import date_format
from numpy.typing import NDArray

from diagnostics.samples import FloatArray
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
from fleet.pages.days.past import Past
from fleet.pages.units import Preference, number

CHANCE = (34.0, 70.0)
SUBCOOLING = (90.0, 134.0)
COMFORT = (154.0, 180.0)
"""Top and bottom of the strips with a scale."""

_WIDE_K = 2.0
_LEAST_SPAN = 4.0
_MANY_DAYS = 100


@dataclass(frozen=True)
class Chart:
    """Everything the drawing needs, in the units of its view box; lines are SVG path data."""

    unit: str
    events: tuple[Bar, ...]
    visits: tuple[Tick, ...]
    chance: str
    band: str
    expected: str
    subcooling: str
    comfort: str
    day_width: float
    cover: tuple[Bar, ...]
    subcooling_ticks: tuple[Tick, ...]
    comfort_tick: Tick | None
    dates: tuple[Tick, ...]


@dataclass(frozen=True)
class Frame:
    """First and last day drawn, and the reader's units."""

    first: date
    last: date
    prefer: Preference

    @property
    def days(self) -> int:
        """How many."""
        return (self.last - self.first).days + 1

    def x(self, day: date) -> float:
        """Left edge of a day."""
        return LEFT + (RIGHT - LEFT) * (day - self.first).days / self.days


def chart(
    past: Past, frame: Frame, events: Sequence[EventSpan], visits: Sequence[date]
) -> Chart | None:
    """The chart of a system; None when no day of the frame holds data."""
    inside = past.within(frame.first, frame.last)
    if not inside.any():
        return None
    x = _middles(past, frame)[inside]
    shown = frame.prefer.difference_of
    value, usual = shown(past.subcooling_k[inside]), shown(past.expected_k[inside])
    wide = shown(_WIDE_K * past.sigma_k[inside])
    low, high, ticks = _scale(np.concatenate([value, usual - wide, usual + wide]), SUBCOOLING)
    short = shown(past.short_kh[inside])
    known = bool(np.isfinite(short).any())
    most = float(np.nanmax(short)) if known else 0.0
    level = _Level(SUBCOOLING, low, high)
    return Chart(
        unit=frame.prefer.difference_label,
        events=tuple(_bar(span, frame) for span in events),
        visits=tuple(Tick(frame.x(day), str(i)) for i, day in enumerate(visits, start=1)),
        chance=_line(x, _Level(CHANCE, 0.0, 1.0)(past.fault[inside])),
        band=_band(x, level(usual - wide), level(usual + wide)),
        expected=_line(x, level(usual)),
        subcooling=_dots(x, level(value)),
        comfort=_bars(x, _Level(COMFORT, 0.0, max(most, 1.0))(short)),
        day_width=max(0.7 * (RIGHT - LEFT) / frame.days, 0.6),
        cover=tuple(_cover(past, frame)),
        subcooling_ticks=ticks,
        comfort_tick=Tick(COMFORT[0], number(max(most, 1.0), 0)) if known else None,
        dates=tuple(_dates(frame)),
    )


@dataclass(frozen=True)
class _Level:
    """From values to heights in a strip."""

    strip: tuple[float, float]
    low: float
    high: float

    def __call__(self, values: FloatArray) -> FloatArray:
        top, bottom = self.strip
        return np.asarray(bottom - (bottom - top) * (values - self.low) / (self.high - self.low))


def _middles(past: Past, frame: Frame) -> FloatArray:
    number_of_day = (past.day - np.datetime64(frame.first)) / np.timedelta64(1, "D")
    return np.asarray(LEFT + (RIGHT - LEFT) * (number_of_day + 0.5) / frame.days)


def _scale(values: FloatArray, strip: tuple[float, float]) -> tuple[float, float, tuple[Tick, ...]]:
    known = values[np.isfinite(values)]
    if not known.size:
        return 0.0, 1.0, ()
    low, high = min(float(known.min()), 0.0), max(float(known.max()), _LEAST_SPAN)
    step = step_of(high - low)
    low, high = step * math.floor(low / step), step * math.ceil(high / step)
    level = _Level(strip, low, high)
    marks = np.arange(low, high + step / 2, step)
    at = level(marks)
    ticks = (Tick(float(y), number(float(v), 0)) for y, v in zip(at, marks, strict=True))
    return low, high, tuple(ticks)


def _runs(known: NDArray[np.bool_], x: FloatArray, gap: float) -> Iterator[slice]:
    """Stretches of known neighbours."""
    edges = np.flatnonzero(np.diff(known) | (np.diff(x) > gap)) + 1
    bounds = [0, *edges.tolist(), known.size]
    for first, end in pairwise(bounds):
        if known[first]:
            yield slice(first, end)


def _gap(x: FloatArray) -> float:
    return 1.5 * float(np.diff(x).min()) if x.size > 1 else math.inf


def _line(x: FloatArray, y: FloatArray) -> str:
    """A broken line: days apart are not joined, and a day alone is a dot."""
    parts = []
    for run in _runs(np.isfinite(y), x, _gap(x)):
        points = [f"{a:.1f} {b:.1f}" for a, b in zip(x[run], y[run], strict=True)]
        parts.append(f"M{'L'.join(points)}" if len(points) > 1 else f"M{points[0]}h0")
    return "".join(parts)


def _band(x: FloatArray, low: FloatArray, high: FloatArray) -> str:
    parts = []
    for run in _runs(np.isfinite(low), x, _gap(x)):
        there = [f"{a:.1f} {b:.1f}" for a, b in zip(x[run], high[run], strict=True)]
        back = [f"{a:.1f} {b:.1f}" for a, b in zip(x[run][::-1], low[run][::-1], strict=True)]
        parts.append(f"M{'L'.join(there + back)}Z")
    return "".join(parts)


def _dots(x: FloatArray, y: FloatArray) -> str:
    known = np.isfinite(y)
    return "".join(f"M{a:.1f} {b:.1f}h0" for a, b in zip(x[known], y[known], strict=True))


def _bars(x: FloatArray, y: FloatArray) -> str:
    bottom = COMFORT[1]
    known = np.isfinite(y) & (bottom - y > 0.2)
    pairs = zip(x[known], y[known], strict=True)
    return "".join(f"M{a:.1f} {bottom}V{b:.1f}" for a, b in pairs)


def _bar(span: EventSpan, frame: Frame) -> Bar:
    x = frame.x(max(span.first, frame.first))
    end = frame.x(min(span.last, frame.last) + timedelta(days=1))
    return Bar(x, max(end - x, LEAST_WIDTH), "event", span.label)


def _cover(past: Past, frame: Frame) -> Iterator[Bar]:
    """Stretches of days with all, some or no data."""
    hours = np.zeros(frame.days)
    inside = past.within(frame.first, frame.last)
    at = (past.day[inside] - np.datetime64(frame.first)).astype(int)
    hours[at] = past.logged_h[inside]
    kinds = np.where(hours >= FULL_DAY_H, "full", np.where(hours > 0, "part", "none"))
    bounds = [0, *(np.flatnonzero(kinds[1:] != kinds[:-1]) + 1).tolist(), frame.days]
    width = (RIGHT - LEFT) / frame.days
    for first, end in pairwise(bounds):
        kind = str(kinds[first])
        yield Bar(LEFT + width * first, width * (end - first), kind, "")


def _dates(frame: Frame) -> list[Tick]:
    """The first of every month over long spans, every second week over short ones."""
    days = [frame.first + timedelta(days=i) for i in range(frame.days)]
    if frame.days > _MANY_DAYS:
        every = math.ceil(frame.days / 30 / 8)
        months = [day for day in days if day.day == 1][::every]
        form = "j M" if every == 1 else "M"
        ticks = [Tick(frame.x(day), date_format(day, form)) for day in months]
    else:
        ticks = [Tick(frame.x(day), date_format(day, "j M")) for day in days[::14]]
    return [tick for tick in ticks if tick.at <= RIGHT - DATE_WIDTH]
