"""A figure with its spread and its bar, and how a part hands its figures to the one command."""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Callable, Iterable, Sequence
from dataclasses import asdict, dataclass
from typing import Literal

import numpy as np

from tests.benchmarks.telling import say

Clock = Literal["wall", "cpu"]


@dataclass(frozen=True)
class Run:
    """How a part is to be run: small, and by which clock times are held to their bars."""

    quick: bool = False
    by: Clock = "wall"

    def size(self, full: int, quick: int) -> int:
        """A size, by how the part is run."""
        return quick if self.quick else full


@dataclass(frozen=True)
class Figure:
    """One figure; ``low`` to ``high`` are quartiles unless the note says otherwise.

    bar: the most that is allowed, or with ``at_least`` the least; None where nothing is asked.
    """

    name: str
    unit: str
    value: float
    low: float
    high: float
    bar: float | None = None
    at_least: bool = False
    note: str = ""

    @property
    def met(self) -> bool:
        """Whether the bar is kept; a figure that is no number keeps none."""
        if self.bar is None:
            return True
        return self.value >= self.bar if self.at_least else self.value <= self.bar

    @property
    def judged(self) -> str:
        """The bar in words."""
        if self.bar is None:
            return ""
        kind = "least" if self.at_least else "most"
        return f"{kind} {_short(self.bar)}  {'met' if self.met else 'NOT MET'}"

    def __str__(self) -> str:
        """The row of the table."""
        spread = "" if self.low == self.high else f"{_short(self.low)} to {_short(self.high)}"
        note = f"  ({self.note})" if self.note else ""
        return (
            f"{self.name:<46}{_short(self.value):>9} {self.unit:<6} {spread:<18} "
            f"{self.judged}{note}"
        ).rstrip()

    def as_line(self) -> str:
        """One line for another process."""
        return json.dumps(asdict(self))

    @classmethod
    def from_line(cls, line: str) -> Figure:
        """The figure of such a line."""
        return cls(**json.loads(line))


def of(
    name: str,
    unit: str,
    rounds: Sequence[float],
    bar: float | None = None,
    *,
    at_least: bool = False,
    note: str = "",
) -> Figure:
    """Median and quartiles of rounds; of one round, the number itself."""
    low, middle, high = (float(it) for it in np.quantile(rounds, [0.25, 0.5, 0.75]))
    return Figure(name, unit, middle, low, high, bar, at_least, note)


def _short(value: float) -> str:
    """Four figures, and no more behind the point than mean something."""
    return f"{value:,.0f}" if abs(value) >= 1000 else f"{value:.3g}"


def main(measure: Callable[[Run], Iterable[Figure]]) -> int:
    """A part in its own process: its figures on standard output, a line each."""
    parser = argparse.ArgumentParser(description=sys.modules["__main__"].__doc__)
    parser.add_argument("--quick", action="store_true")
    parser.add_argument("--by", choices=("wall", "cpu"), default="wall")
    given = parser.parse_args()
    for figure in measure(Run(given.quick, given.by)):
        say(figure.as_line())
    return 0
