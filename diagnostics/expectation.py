"""What upstream subcooling should be: the trade's range, or what the system itself has shown.

A system's own past is learned by Bayesian linear regression of its daily mean upstream subcooling
on outdoor air and compressor load (Bishop 2006, Pattern Recognition and Machine Learning, eqs.
3.50 to 3.59): with few days, or far from the weather seen, the prediction widens by itself.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from diagnostics.samples import FloatArray
from diagnostics.windows import Windows

USUAL_COOLING_K = (5.0, 2.0)
"""Mean and spread over systems of upstream subcooling, liquid to the indoor units: 2 to 8 K
(common practice, no source)."""

USUAL_HEATING_K = (10.0, 3.5)
"""The same with liquid to the outdoor coil; wider: it has passed the indoor valves and risers
(common practice, no source)."""

BASELINE_DAYS = 21
SETTLED_DAYS = 7
"""Days before the judged moment that never enter the baseline."""

_LEAST_S = 1800.0
NOISE_K = 0.7
"""Standard deviation of a day's mean about the system's own line (common practice, no source)."""

_PRIOR_SD = np.array([10.0, 0.08, 3.0])  # K, K per K of outdoor air, K per full load
_CENTRE_AIR_K, _CENTRE_LOAD = 293.15, 0.5


@dataclass(frozen=True)
class Baseline:
    """A system's own upstream subcooling: coefficients on (1, air, load) and their covariance."""

    mean: FloatArray
    covariance: FloatArray
    days: int

    def predict(self, rows: Windows) -> tuple[FloatArray, FloatArray]:
        """Expected upstream subcooling and its standard uncertainty [K], each shape (w,)."""
        columns = design(rows)
        spread = np.einsum("ij,jk,ik->i", columns, self.covariance, columns)
        return (columns * self.mean).sum(axis=1), np.sqrt(spread + NOISE_K**2 / 3)


def learn(days: Windows) -> Baseline | None:
    """The baseline of the first ``BASELINE_DAYS`` usable ones of pooled days.

    days: judged normal, older than the days to be judged. None with fewer than four days on which
    liquid ran to the indoor units for half an hour of steady operation.
    """
    days = days.rows(usable(days)).rows(slice(0, BASELINE_DAYS))
    if len(days) < 4:
        return None
    columns, observed = design(days), days.column("subcooling_to_indoor_k")
    precision = np.diag(_PRIOR_SD**-2.0) + columns.T @ columns / NOISE_K**2
    covariance: FloatArray = np.linalg.inv(precision).astype(np.float64)
    return Baseline(covariance @ columns.T @ observed / NOISE_K**2, covariance, len(days))


def usable(days: Windows) -> NDArray[np.bool_]:
    """Which pooled days have enough to learn from, shape (w,)."""
    enough = days.column("to_indoor_s") >= _LEAST_S
    return np.asarray(enough & np.isfinite(design(days)).all(axis=1))


def design(rows: Windows) -> FloatArray:
    """What the baseline's coefficients multiply: 1, air [K] and load about a usual day, (w, 3)."""
    air = np.nan_to_num(rows.column("air_to_indoor_k") - _CENTRE_AIR_K)
    load = rows.column("load_to_indoor") - _CENTRE_LOAD
    return np.column_stack([np.ones(len(rows)), air, np.nan_to_num(load)])
