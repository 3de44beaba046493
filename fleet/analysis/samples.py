"""Results sample by sample, cut from the same canonical days as the windows."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import fields
from datetime import UTC, date, datetime

import numpy as np

from diagnostics.analyse import SampleResults, sample_by_sample
from diagnostics.samples import Samples
from fleet.analysis.days import read_span
from fleet.instants import RESOLUTION, midnight, to_64
from fleet.models import System
from fleet.timeseries import store

_NAMES = tuple(field.name for field in fields(SampleResults))


def per_sample(system: System, start: datetime, end: datetime) -> SampleResults:
    """Results of the stored samples with start <= time < end.

    Whole UTC days are analysed behind their warm-up, and cut: the numbers are those the windows
    were made of, wherever the span begins.
    """
    return with_logged(system, start, end)[0]


def with_logged(
    system: System, start: datetime, end: datetime
) -> tuple[SampleResults, Sequence[Samples]]:
    """The same, and the samples as they were logged, read once: a piece a UTC day, in order."""
    parts, logged = [], []
    for day in _days(system, start, end):
        samples, plant = read_span(system.pk, day)
        first = max(start, midnight(day))
        parts.append(_between(sample_by_sample(samples, plant), first, end))
        logged.append(samples.between(to_64(first), to_64(end)))
    return (_joined(parts) if parts else _of_nothing(system)), logged


def _of_nothing(system: System) -> SampleResults:
    """What comes of no samples: every array empty."""
    return sample_by_sample(Samples(np.zeros(0, "datetime64[us]"), {}, {}), system.plant())


def _days(system: System, start: datetime, end: datetime) -> list[date]:
    """UTC days of the span that hold samples."""
    first = start.astimezone(UTC).date()
    last = (end - RESOLUTION).astimezone(UTC).date()
    return sorted(day for day in store.days(system.pk) if first <= day <= last)


def _between(results: SampleResults, start: datetime, end: datetime) -> SampleResults:
    low, high = np.searchsorted(results.time, np.array([to_64(start), to_64(end)]))
    return SampleResults(**{name: getattr(results, name)[low:high] for name in _NAMES})


def _joined(parts: list[SampleResults]) -> SampleResults:
    return SampleResults(
        **{name: np.concatenate([getattr(part, name) for part in parts]) for name in _NAMES}
    )
