"""What charts of days share: where the time axis lies, and the marks along it. Geometry only."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

LEFT, RIGHT = 30.0, 352.0
DATE_WIDTH = 30.0
FULL_DAY_H = 20.0
"""A day with so many hours of data is drawn as whole."""

LEAST_WIDTH = 3.0
"""Of an event's bar, however short the event."""


@dataclass(frozen=True)
class Bar:
    """A stretch along the time axis: an event, or a day's data cover."""

    x: float
    width: float
    kind: str
    label: str


@dataclass(frozen=True)
class Tick:
    """A number or date on an axis."""

    at: float
    text: str


@dataclass(frozen=True)
class EventSpan:
    """An event as the chart needs it: local days, both ends included."""

    first: date
    last: date
    label: str


def step_of(span: float) -> float:
    """Between the ticks of an axis, so that they are few and round."""
    return next((step for step in (2.0, 5.0, 10.0, 20.0) if span / step <= 4), 50.0)
