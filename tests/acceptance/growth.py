"""Does a figure grow with time? A straight line fitted to readings, and how steep it may be."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

SURE = 2.0  # standard errors a slope has to be above zero


@dataclass(frozen=True)
class Reading:
    """One figure. ``life`` tells one process from the next of its kind; 0: outlives them all."""

    minute: float
    kind: str
    measure: str
    value: float
    life: int = 0


@dataclass(frozen=True)
class Bar:
    """How much a measure may grow in an hour: a share of its level, but no less than ``least``."""

    share: float
    least: float


@dataclass(frozen=True)
class Growth:
    """The fit: slope and its standard error an hour, mean and most of the readings, and the bar."""

    kind: str
    measure: str
    level: float
    most: float
    slope: float
    error: float
    bar: float
    readings: int
    lives: int

    @property
    def grows(self) -> bool:
        """True when the slope is beyond the bar, and not by chance."""
        return self.slope > self.bar and self.slope > SURE * self.error

    def line(self) -> str:
        """The figures in columns."""
        return (
            f"{self.kind:<12} {self.measure:<22} {self.level:>9.1f} {self.most:>9.1f} "
            f"{self.slope:>+9.2f} ± {self.error:<6.2f} {self.bar:>8.1f} {self.lives:>6}"
            f"{'  GROWS' if self.grows else ''}"
        )


TITLE = (
    f"{'of':<12} {'what':<22} {'mean':>9} {'most':>9} {'an hour':>9}   {'error':<6} "
    f"{'allowed':>8} {'lives':>6}"
)


def fit(readings: Iterable[Reading], bars: dict[str, Bar], settled: float) -> Iterator[Growth]:
    """A line to each kind and measure; every life has a level of its own, all share the slope.

    Readings of a life's first ``settled`` minutes are left out: what a program loads with its
    first work is no growth. Measures without a bar are left out too.
    """
    grouped: dict[tuple[str, str], dict[int, list[Reading]]] = defaultdict(
        lambda: defaultdict(list)
    )
    for reading in readings:
        if reading.measure in bars:
            grouped[reading.kind, reading.measure][reading.life].append(reading)
    for (kind, measure), lives in sorted(grouped.items()):
        kept = [_settled(life, settled) for life in lives.values()]
        kept = [life for life in kept if len(life) >= 3]
        if kept:
            yield _line(kind, measure, kept, bars[measure])


def _settled(life: list[Reading], settled: float) -> list[Reading]:
    first = min(reading.minute for reading in life)
    return [reading for reading in life if reading.minute >= first + settled]


def _line(kind: str, measure: str, lives: list[list[Reading]], bar: Bar) -> Growth:
    hours = [np.array([reading.minute for reading in life]) / 60.0 for life in lives]
    values = [np.array([reading.value for reading in life]) for life in lives]
    x = np.concatenate([each - each.mean() for each in hours])
    y = np.concatenate([each - each.mean() for each in values])
    slope, error = _slope(x, y, len(lives))
    everything = np.concatenate(values)
    level = float(everything.mean())
    allowed = max(bar.share * level, bar.least)
    return Growth(
        kind, measure, level, float(everything.max()), slope, error, allowed, x.size, len(lives)
    )


def _slope(x: NDArray[np.float64], y: NDArray[np.float64], lives: int) -> tuple[float, float]:
    """Least squares through the origin of values from which each life's mean was taken."""
    spread = float(x @ x)
    if spread == 0.0:
        return 0.0, float("inf")
    slope = float(x @ y) / spread
    left = max(x.size - lives - 1, 1)
    residual = y - slope * x
    return slope, float(np.sqrt(residual @ residual / left / spread))
