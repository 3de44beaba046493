"""How a system did day by day, judged like today: chance of a fault, subcooling, comfort, cover."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np
from numpy.typing import NDArray

from diagnostics import verdict
from diagnostics.drift import Drift, Kind, drift
from diagnostics.episodes import LEAST_JUDGED_S
from diagnostics.findings import Context
from diagnostics.samples import FloatArray, TimeArray
from diagnostics.weighing import weigh
from diagnostics.weighing.weigh import Weights
from diagnostics.windows import Windows
from fleet.analysis import day_rows, learning
from fleet.models import System
from fleet.pages import units
from fleet.pages.units import Preference

STEADY_S = 1800.0
"""A day's subcooling is compared when it rests on half an hour of steady operation, as the
baseline's days do."""

LAST_DAYS, STILL = 3, 0.5
"""A step is told where as many days lie before it, and while the last days show at least this share
of it (our own choice)."""


@dataclass(frozen=True, eq=False)
class Past:
    """Days of one system in UTC, ascending; arrays of shape (d,), NaN = not to be told.

    fault: probability that something is wrong, from that day alone. subcooling_k: upstream, with
    liquid to the rooms; expected_k, sigma_k: of the system's own past [K]. short_kh: how far and
    how long rooms that asked were short of their setpoint [K h]. logged_h, running_h, judged_h:
    hours with data, running, and judged.
    """

    day: TimeArray
    fault: FloatArray
    subcooling_k: FloatArray
    expected_k: FloatArray
    sigma_k: FloatArray
    short_kh: FloatArray
    logged_h: FloatArray
    running_h: FloatArray
    judged_h: FloatArray
    drift: Drift | None

    def within(self, first: date, last: date) -> NDArray[np.bool_]:
        """Which days lie in a span, both ends included, shape (d,)."""
        return (self.day >= np.datetime64(first)) & (self.day <= np.datetime64(last))

    def drift_text(self, prefer: Preference, *, only_changes: bool = False) -> str:
        """What the subcooling does against the system's own past, in the reader's units.

        Empty where that cannot be told; with ``only_changes`` also where it does nothing.
        """
        told = self.drift
        if told is None or told.kind is Kind.UNKNOWN or self._over(told):
            return ""
        return (
            "" if only_changes and told.kind is Kind.STEADY else units.text(told.sentence, prefer)
        )

    def _over(self, told: Drift) -> bool:
        """Whether a step told has no level before it, or the last days are not at the one behind.

        One step is all that is looked for, so where a repair ended what was there from the first
        day on, that first day is the likeliest step.
        """
        off = self.subcooling_k - self.expected_k
        known = np.isfinite(off)
        if told.step_k is None or told.since is None or not known.any():
            return False
        before = int((known & (self.day < told.since)).sum())
        return before < LAST_DAYS or float(off[known][-LAST_DAYS:].mean()) / told.step_k < STILL

    @property
    def learned(self) -> bool:
        """Whether the system has a past of its own to be compared with."""
        return bool(np.isfinite(self.expected_k).any())


def load(systems: Sequence[System], judged_since: date = date.min) -> Mapping[int, Past]:
    """The past of systems with their indoor units and site, in two queries.

    Days before ``judged_since`` have no probability of a fault: of a long past, judging each day
    takes most of the time, and a page may draw only the end.
    """
    rows = day_rows.load(system.pk for system in systems)
    weights = learning.weights_of(rows)
    return {
        system.pk: of(rows[system.pk], system, weights[system.pk], judged_since)
        for system in systems
    }


def of(days: Windows, system: System, weights: Weights, judged_since: date = date.min) -> Past:
    """The past from a system's pooled days, judged by some weights."""
    plant = system.plant()
    baseline = verdict.baseline(days, plant, weights)
    context = Context(plant, baseline)
    judged = np.nan_to_num(days.column("judged_s"))
    fault = np.full(len(days), np.nan)
    drawn = days.start.astype("datetime64[D]") >= np.datetime64(judged_since)
    if drawn.any():
        weighed = weigh.weigh(days.rows(drawn), context, weights)
        fault[drawn] = 1.0 - weighed.probabilities[:, 0]
    steady = np.nan_to_num(days.column("to_indoor_s")) >= STEADY_S
    expected = sigma = np.full(len(days), np.nan)
    if baseline is not None:
        expected, sigma = (np.where(steady, it, np.nan) for it in baseline.predict(days))
    asking_h = np.nan_to_num(days.column("asking_s")) / 3600.0
    return Past(
        day=days.start.astype("datetime64[D]"),
        fault=np.where(judged >= LEAST_JUDGED_S, fault, np.nan),
        subcooling_k=np.where(steady, days.column("subcooling_to_indoor_k"), np.nan),
        expected_k=expected,
        sigma_k=sigma,
        short_kh=np.maximum(days.column("shortfall_k"), 0.0) * asking_h,
        logged_h=np.nan_to_num(days.column("logged_s")) / 3600.0,
        running_h=np.nan_to_num(days.column("running_s")) / 3600.0,
        judged_h=judged / 3600.0,
        drift=None if baseline is None else drift(days, baseline),
    )
