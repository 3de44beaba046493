"""What upstream subcooling should be: the trade's range, or what the system itself has shown.

A system's own past is learned by Bayesian linear regression of its daily mean upstream subcooling
on outdoor air, compressor load and how much of the day it cooled and heated at once (Bishop 2006,
Pattern Recognition and Machine Learning, eqs. 3.50 to 3.59): with few days, or far from the weather
seen, the prediction widens by itself. How far days scatter about their own line is learned too, by
expectation-maximisation (the same, section 9.3.4), from what is usual.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from diagnostics.samples import FloatArray
from diagnostics.windows import Windows

USUAL_COOLING_K = 5.0
"""Mean over systems of upstream subcooling, liquid to the indoor units: 2 to 8 K (common practice,
no source)."""

USUAL_HEATING_K = 10.0
"""The same with liquid to the outdoor coil (common practice, no source)."""

BOTH_K = 3.0
"""More subcooling where units always cool and heat at once than where they never do: the coil that
the liquid comes from then shares its heat with others and has area to spare (the sign is physics;
the size is that of 1,300 healthy simulated systems, 3.2 and 3.4 K)."""

LOAD_K = 3.4
"""More subcooling in cooling at full compressor load than at none: what liquid can lose is bounded
by how far it is above the air, which grows with load (the size from the same systems)."""

BASELINE_DAYS = 21
SETTLED_DAYS = 7
"""Days before the judged moment that never enter the baseline."""

_LEAST_S = 1800.0
NOISE_K = 0.5
"""Standard deviation of a day's mean about the system's own line, before any day of it is seen
(common practice, no source)."""

_NOISE_DAYS = 6.0
"""Days that this is worth, against what the system's own days show."""

_ROUNDS = 6
"""Of expectation-maximisation; after them the noise changes by less than a hundredth."""

# K, K per K of outdoor air, K per full load, K from never to always cooling and heating at once
_PRIOR_SD = np.array([10.0, 0.08, 8.0, 6.0])
_CENTRE_AIR_K, _CENTRE_LOAD = 293.15, 0.5

_SOME_BOTH = 0.3
"""Of its running time a heating system cools elsewhere too, in the middle."""


_ELSEWHERE = np.datetime64("NaT", "D")


@dataclass(frozen=True)
class Baseline:
    """A system's own upstream subcooling: coefficients of ``design`` and their covariance.

    noise_k: standard deviation of its days about that line [K]. until: the last day learned from;
    NaT where it was learned elsewhere.
    """

    mean: FloatArray
    covariance: FloatArray
    days: int
    noise_k: float = NOISE_K
    until: np.datetime64 = _ELSEWHERE

    def predict(self, rows: Windows) -> tuple[FloatArray, FloatArray]:
        """Expected upstream subcooling and its standard uncertainty [K], each shape (w,)."""
        columns = design(rows)
        spread = np.einsum("ij,jk,ik->i", columns, self.covariance, columns)
        return (columns * self.mean).sum(axis=1), np.sqrt(spread + self.noise_k**2 / 3)


def learn(days: Windows) -> Baseline | None:
    """The baseline of the first ``BASELINE_DAYS`` usable ones of pooled days.

    days: judged normal, older than the days to be judged. None with fewer than four days on which
    liquid ran to the indoor units for half an hour of steady operation.
    """
    days = days.rows(usable(days)).rows(slice(0, BASELINE_DAYS))
    if len(days) < 4:
        return None
    columns, observed = design(days), days.column("subcooling_to_indoor_k")
    mean, covariance, variance = _fit(columns, observed)
    until = days.start[-1].astype("datetime64[D]")
    return Baseline(mean, covariance, len(days), float(np.sqrt(variance)), until)


def _fit(columns: FloatArray, observed: FloatArray) -> tuple[FloatArray, FloatArray, float]:
    """Coefficients, their covariance, and the variance of days about the line [K2]."""
    variance = NOISE_K**2
    for _ in range(_ROUNDS):
        precision = np.diag(_PRIOR_SD**-2.0) + columns.T @ columns / variance
        covariance: FloatArray = np.linalg.inv(precision).astype(np.float64)
        mean = covariance @ columns.T @ observed / variance
        left = observed - columns @ mean
        spread = left @ left + np.trace(columns @ covariance @ columns.T)
        variance = float((_NOISE_DAYS * NOISE_K**2 + spread) / (_NOISE_DAYS + len(observed)))
    return mean, covariance, variance


def usable(days: Windows) -> NDArray[np.bool_]:
    """Which pooled days have enough to learn from, shape (w,)."""
    enough = days.column("to_indoor_s") >= _LEAST_S
    return np.asarray(enough & np.isfinite(days.column("subcooling_to_indoor_k")))


def usual_cooling_k(rows: Windows) -> FloatArray:
    """What is usual of any system under the rows' conditions, liquid to the indoor units, (w,)."""
    _, _, load, both = design(rows).T
    return np.asarray(USUAL_COOLING_K + LOAD_K * load + BOTH_K * both)


def usual_heating_k(rows: Windows) -> FloatArray:
    """The same with liquid to the outdoor coil, shape (w,)."""
    return np.asarray(USUAL_HEATING_K - _SOME_BOTH * BOTH_K + BOTH_K * design(rows)[:, 3])


def design(rows: Windows) -> FloatArray:
    """What the baseline's coefficients multiply, shape (w, 4).

    1, air [K] and load about a usual day, and the share of the running time in which some units
    cooled while others heated: part of the heat is then given off indoors, and liquid leaves the
    outdoor coil colder. What is not logged counts as usual.
    """
    air = np.nan_to_num(rows.column("air_to_indoor_k") - _CENTRE_AIR_K)
    load = np.nan_to_num(rows.column("load_to_indoor") - _CENTRE_LOAD)
    running = np.maximum(np.nan_to_num(rows.column("running_s")), 1.0)
    both = np.nan_to_num(rows.column("simultaneous_s")) / running
    return np.column_stack([np.ones(len(rows)), air, load, np.clip(both, 0.0, 1.0)])
