"""What is stored of a system's analysis, read no further back than a question reaches.

A verdict rests on the last days' windows and, for what is normal, on pooled days; so its cost does
not grow with the system's history.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from diagnostics import verdict
from diagnostics.plant import Plant
from diagnostics.verdict import RANKED_DAYS, Verdict
from diagnostics.weighing.weigh import Weights
from diagnostics.windows import WINDOW_S, Windows
from fleet.analysis import day_rows, window_rows
from fleet.instants import to_utc
from fleet.models import System

WINDOW = np.timedelta64(WINDOW_S, "s")


@dataclass(frozen=True, eq=False)
class Record:
    """Stored results of one system under the present method.

    days: all its pooled days, ascending.
    """

    system_id: int
    plant: Plant
    weights: Weights
    days: Windows

    @classmethod
    def of(cls, system: System, weights: Weights) -> Record:
        """The record of a system, to be judged by some weights."""
        return cls(system.pk, system.plant(), weights, day_rows.load([system.pk])[system.pk])

    def windows(self, since: np.datetime64, before: np.datetime64 | None = None) -> Windows:
        """Windows that start at ``since`` or later and have ended by ``before``."""
        end = None if before is None else to_utc(before)
        return window_rows.load(self.system_id, before=end, since=to_utc(since))

    def last_window(self, before: np.datetime64 | None = None) -> np.datetime64 | None:
        """Start of the last window that had ended by ``before``; of the last of all if None.

        Looks through the days backwards, of which the second at the latest has one.
        """
        days = self.days.start if before is None else self.days.start[self.days.start < before]
        for day in days[::-1]:
            windows = self.windows(day, before)
            if len(windows):
                last: np.datetime64 = windows.start[-1]
                return last
        return None

    def judge(self, last: np.datetime64) -> Verdict:
        """The verdict as of the end of the window that starts at ``last``."""
        end = last + WINDOW
        recent = self.windows(end - np.timedelta64(RANKED_DAYS, "D"), end)
        known = self.days.rows(self.days.start <= last)
        return verdict.judge(recent, self.plant, end, self.weights, known)
