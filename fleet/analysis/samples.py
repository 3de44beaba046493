"""Results sample by sample, cut from the same canonical days as the windows."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import fields
from datetime import UTC, date, datetime

import numpy as np

from diagnostics.analyse import Analysis, analyse
from diagnostics.samples import Samples
from diagnostics.windows import Windows
from fleet.analysis.days import read_span
from fleet.analysis.instants import RESOLUTION, midnight, to_64
from fleet.models import System
from fleet.timeseries import store

_PER_SAMPLE = tuple(field.name for field in fields(Analysis) if field.name != "windows")


def per_sample(system: System, start: datetime, end: datetime) -> Analysis:
    """Analysis of the stored samples with start <= time < end.

    Whole UTC days are analysed behind their warm-up, and cut: the numbers are those the windows
    were made of, wherever the span begins.
    """
    return with_logged(system, start, end)[0]


def with_logged(
    system: System, start: datetime, end: datetime
) -> tuple[Analysis, Sequence[Samples]]:
    """The same, and the samples as they were logged, read once: a piece a UTC day, in order."""
    parts, logged = [], []
    for day in _days(system, start, end):
        samples, plant = read_span(system.pk, day)
        first = max(start, midnight(day))
        parts.append(_between(analyse(samples, plant), first, end))
        logged.append(samples.between(to_64(first), to_64(end)))
    return (_joined(parts) if parts else analyse_nothing(system)), logged


def analyse_nothing(system: System) -> Analysis:
    """What comes of no samples: every array empty."""
    return analyse(Samples(np.zeros(0, "datetime64[us]"), {}, {}), system.plant())


def _days(system: System, start: datetime, end: datetime) -> list[date]:
    """UTC days of the span that hold samples."""
    first = start.astimezone(UTC).date()
    last = (end - RESOLUTION).astimezone(UTC).date()
    return sorted(day for day in store.days(system.pk) if first <= day <= last)


def _between(analysis: Analysis, start: datetime, end: datetime) -> Analysis:
    low, high = np.searchsorted(analysis.time, np.array([to_64(start), to_64(end)]))
    cut = {name: getattr(analysis, name)[low:high] for name in _PER_SAMPLE}
    return Analysis(**cut, windows=analysis.windows.between(to_64(start), to_64(end)))


def _joined(parts: list[Analysis]) -> Analysis:
    joined = {name: np.concatenate([getattr(part, name) for part in parts]) for name in _PER_SAMPLE}
    starts = np.concatenate([part.windows.start for part in parts])
    features = np.concatenate([part.windows.features for part in parts])
    return Analysis(**joined, windows=Windows(starts, features))
