"""Results sample by sample, cut from the same canonical days as the windows."""

from __future__ import annotations

from dataclasses import fields
from datetime import UTC, date, datetime

import numpy as np

import diagnostics
from diagnostics.samples import Samples
from diagnostics.windows import Windows
from fleet.analysis.days import analyse_span
from fleet.analysis.instants import RESOLUTION, to_64
from fleet.models import System
from fleet.timeseries import store

_PER_SAMPLE = tuple(field.name for field in fields(diagnostics.Analysis) if field.name != "windows")


def per_sample(system: System, start: datetime, end: datetime) -> diagnostics.Analysis:
    """Analysis of the stored samples with start <= time < end.

    Whole UTC days are analysed behind their warm-up, and cut: the numbers are those the windows
    were made of, wherever the span begins.
    """
    parts = [
        _between(analyse_span(system.pk, day), start, end) for day in _days(system, start, end)
    ]
    return _joined(parts) if parts else analyse_nothing(system)


def analyse_nothing(system: System) -> diagnostics.Analysis:
    """What comes of no samples: every array empty."""
    return diagnostics.analyse(Samples(np.zeros(0, "datetime64[us]"), {}, {}), system.plant())


def _days(system: System, start: datetime, end: datetime) -> list[date]:
    """UTC days of the span that hold samples."""
    first = start.astimezone(UTC).date()
    last = (end - RESOLUTION).astimezone(UTC).date()
    return sorted(day for day in store.days(system.pk) if first <= day <= last)


def _between(
    analysis: diagnostics.Analysis, start: datetime, end: datetime
) -> diagnostics.Analysis:
    low, high = np.searchsorted(analysis.time, np.array([to_64(start), to_64(end)]))
    cut = {name: getattr(analysis, name)[low:high] for name in _PER_SAMPLE}
    return diagnostics.Analysis(**cut, windows=analysis.windows.between(to_64(start), to_64(end)))


def _joined(parts: list[diagnostics.Analysis]) -> diagnostics.Analysis:
    joined = {name: np.concatenate([getattr(part, name) for part in parts]) for name in _PER_SAMPLE}
    starts = np.concatenate([part.windows.start for part in parts])
    features = np.concatenate([part.windows.features for part in parts])
    return diagnostics.Analysis(**joined, windows=Windows(starts, features))
