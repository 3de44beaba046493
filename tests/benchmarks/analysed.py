"""A long record analysed as the product does: whole UTC days with their warm-up."""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np

from diagnostics.analyse import WARM_UP_S, Analysis, analyse
from diagnostics.plant import Plant
from diagnostics.samples import Samples
from diagnostics.windows import Windows


@dataclass(frozen=True)
class _Cut:
    """One day of an analysis: its samples and its windows."""

    analysis: Analysis
    keep: slice


def by_days(samples: Samples, plant: Plant) -> Analysis:
    """The analysis of every UTC day of ``samples``, joined."""
    days = np.unique(samples.time.astype("datetime64[D]"))
    cuts = [_one(samples, plant, day) for day in days]
    joined = {
        spec.name: np.concatenate([getattr(cut.analysis, spec.name)[cut.keep] for cut in cuts])
        for spec in fields(Analysis)
        if spec.name != "windows"
    }
    kept = [
        cut.analysis.windows.rows(cut.analysis.windows.start.astype("datetime64[D]") == day)
        for cut, day in zip(cuts, days, strict=True)
    ]
    windows = Windows(
        np.concatenate([rows.start for rows in kept]),
        np.concatenate([rows.features for rows in kept]),
    )
    return Analysis(**joined, windows=windows)


def _one(samples: Samples, plant: Plant, day: np.datetime64) -> _Cut:
    start = day.astype("datetime64[us]")
    span = samples.between(start - np.timedelta64(WARM_UP_S, "s"), start + np.timedelta64(1, "D"))
    first = int(np.searchsorted(span.time, start))
    return _Cut(analyse(span, plant), slice(first, None))
