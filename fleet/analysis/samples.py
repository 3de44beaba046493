"""Results sample by sample, cut from the same canonical days as the windows."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import fields
from datetime import UTC, date, datetime

import numpy as np

from diagnostics.analyse import ASKED_OF_INDOOR, SampleResults, sample_by_sample
from diagnostics.samples import Samples
from fleet.analysis.days import WARM_UP
from fleet.instants import DAY, RESOLUTION, midnight, to_64
from fleet.models import System
from fleet.timeseries import store

MOST_TOGETHER = 8
"""Days read at once: those of a week's plot, anywhere. A day of eight units is 3 MB."""

_NAMES = tuple(field.name for field in fields(SampleResults))


def per_sample(system: System, start: datetime, end: datetime) -> SampleResults:
    """Results of the stored samples with start <= time < end.

    Whole UTC days are analysed behind their warm-up, and cut: the numbers are those the windows
    were made of, wherever the span begins.
    """
    return _joined(system, [results for results, _ in _by_days(system, start, end)])


def with_logged(
    system: System, start: datetime, end: datetime
) -> tuple[SampleResults, Sequence[Samples]]:
    """The same, and the samples as they were logged: a piece a UTC day, in order.

    Of the indoor units only what the results rest on.
    """
    parts = list(_by_days(system, start, end))
    return _joined(system, [results for results, _ in parts]), [logged for _, logged in parts]


def _by_days(
    system: System, start: datetime, end: datetime
) -> Iterator[tuple[SampleResults, Samples]]:
    """Results and samples of the span, day by day."""
    plant = system.plant()
    for day, samples in _read(system, _days(system, start, end)):
        first = max(start, midnight(day))
        results = sample_by_sample(samples, plant)
        yield _between(results, first, end), samples.between(to_64(first), to_64(end))


def _read(system: System, days: Sequence[date]) -> Iterator[tuple[date, Samples]]:
    """Each day with its warm-up; days that follow each other are read together, up to a week."""
    for together in _runs(days):
        start, end = midnight(together[0]) - WARM_UP, midnight(together[-1]) + DAY
        read = store.read(system, start, end, indoor=ASKED_OF_INDOOR)
        for day in together:
            since = midnight(day)
            yield day, read.between(to_64(since - WARM_UP), to_64(since + DAY)).known()


def _runs(days: Sequence[date]) -> Iterator[Sequence[date]]:
    """Days, ascending, in runs without a gap, none longer than ``MOST_TOGETHER``."""
    first = 0
    for at in range(1, len(days) + 1):
        whole = at - first == MOST_TOGETHER
        if at == len(days) or whole or days[at] - days[at - 1] > DAY:
            yield days[first:at]
            first = at


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


def _joined(system: System, parts: list[SampleResults]) -> SampleResults:
    if not parts:
        return _of_nothing(system)
    return SampleResults(
        **{name: np.concatenate([getattr(part, name) for part in parts]) for name in _NAMES}
    )
