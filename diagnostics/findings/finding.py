"""What a finding is: one thing measured, held against what was expected."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from diagnostics.expectation import Baseline
from diagnostics.plant import Plant
from diagnostics.samples import FloatArray
from diagnostics.windows import Windows


@dataclass(frozen=True)
class Context:
    """What a finding may know besides the rows: the plant and the system's own past."""

    plant: Plant
    baseline: Baseline | None = None


@dataclass(frozen=True)
class Measured:
    """A finding's numbers for every row, each shape (w,), NaN where it cannot be told.

    ``sigma`` is the standard uncertainty of ``value - expected``; ``resting_s`` the seconds of
    data behind it.
    """

    value: FloatArray
    expected: FloatArray
    sigma: FloatArray
    resting_s: FloatArray

    @property
    def deviation(self) -> FloatArray:
        """Value minus expected, shape (w,)."""
        return self.value - self.expected


@dataclass(frozen=True)
class Finding:
    """One entry of the registry. Likelihoods for it stand in weights.toml under its name.

    ``measure`` gives the numbers, in ``unit``; for the unit ``ratio`` they are natural logarithms,
    which words turn back into ratios. ``title`` and ``phrase`` (a format of ``measured`` and
    ``expected``) are words for the ledger and the line of why; ``settle`` says what reading on
    site would settle the question.
    """

    name: str
    title: str
    phrase: str
    unit: str
    source: str
    settle: str
    measure: Callable[[Windows, Context], Measured]


def shown(finding: Finding, value: float) -> float:
    """A value of a finding as people are told it."""
    return float(np.exp(value)) if finding.unit == "ratio" else value


def constant(rows: Windows, value: float) -> FloatArray:
    """The same number for every row, shape (w,)."""
    return np.full(len(rows), value)


def seconds(rows: Windows, name: str) -> FloatArray:
    """A feature that counts seconds, 0 where missing, shape (w,)."""
    return np.nan_to_num(rows.column(name))
