"""Slow leaks: how early they are called, and what healthy seasons are taken for.

Each system is looked at after every day, with what was known by then. A leak is called when the
drift of the subcooling against the system's own past is said to fall; the verdict's own suspicion
is told beside it. A leak is through on the first day on which the true upstream subcooling, in
steady operation towards the rooms, is below 1 K.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from functools import partial

import numpy as np

from diagnostics import drift as drifts
from diagnostics import pooling, verdict
from diagnostics.drift import Drift, Kind
from diagnostics.plant import Plant
from diagnostics.samples import FloatArray, TimeArray
from diagnostics.windows import Windows
from fixtures.exams import leaks, seasons
from fixtures.simulator.spec import SystemSpec
from tests.benchmarks.analysed import by_days
from tests.benchmarks.judgement import cases, examine, figures
from tests.benchmarks.judgement.cases import Known
from tests.benchmarks.judgement.figures import Figure, least, most
from tests.benchmarks.judgement.groups import Size

THROUGH_K = 1.0
STEADY_S = 1800.0
"""Of true steady operation towards the rooms that make a day comparable."""

LEAST_DAYS = 14
"""Comparable days before a leak without which there is no past to fall below."""

WARNING_DAYS = 7
"""Days before the leak on which a call counts as false."""

_DAY = np.timedelta64(1, "D")


@dataclass(frozen=True)
class Leak:
    """Days since the start of the history; None where it did not happen.

    comparable: there was a past to fall below, and half of the days of the leak could show it.
    """

    comparable: bool
    onset: int
    through: int | None
    drift_called: int | None
    drift_false: bool
    verdict_called: int | None
    verdict_false: bool
    projected: int | None
    held: bool


@dataclass(frozen=True)
class Season:
    """Looks, one a week, at a healthy system, and what was said at each."""

    looks: int
    falling: int
    rising: int
    steps: int
    alarms: int


def lines(size: Size, workers: int, *, keep: bool = True) -> tuple[list[str], list[Figure]]:
    """The lines of this part and its figures."""
    count, healthy = size.part(1 / 10), size.part(1 / 40)
    leaking = leaks(size.seed + 40, count)
    crossing = seasons(size.seed + 41, healthy)
    made = list(_leak_figures(examine.each(partial(leak, keep=keep), leaking, workers)))
    made += list(_season_figures(examine.each(partial(season, keep=keep), crossing, workers)))
    return ["", "Slow leaks of 1 % of the charge a day", *(f.line() for f in made)], made


def leak(spec: SystemSpec, *, keep: bool) -> Leak:
    case = cases.of(spec, keep=keep)
    samples, plant = case.seen()
    days_seen = pooling.daily(by_days(samples, plant).windows)
    start = samples.time[0].astype("datetime64[D]")
    fault = spec.faults[0]
    assert fault.onset is not None
    onset = (fault.onset - spec.start).days
    days, true_k = _true_days(samples.time, case.known())
    number = (days - start) / _DAY
    low = number[(true_k < THROUGH_K) & (number >= onset)]
    last = int((samples.time[-1].astype("datetime64[D]") - start) / _DAY)
    through = int(low[0]) if low.size else None
    end = last if through is None else through
    told = _follow(days_seen, plant, range(onset - WARNING_DAYS, last + 1), start)
    falls = [(day, it) for day, it, _ in told if it.kind is Kind.FALLING]
    first = next(((day, it) for day, it in falls if day >= onset), None)
    suspected = [day for day, _, leading in told if leading == "undercharge"]
    could_show = (number[(number >= onset) & (number < end)]).size >= 0.5 * (end - onset)
    return Leak(
        comparable=bool((number < onset).sum() >= LEAST_DAYS and could_show and low.size),
        onset=onset,
        through=through,
        drift_called=first[0] if first else None,
        drift_false=any(day < onset for day, _ in falls),
        verdict_called=next((day for day in suspected if day >= onset), None),
        verdict_false=any(day < onset for day in suspected),
        projected=_projected(first[1], start) if first else None,
        held=bool(first and through and _holds(first[1], start + through * _DAY)),
    )


def _true_days(time: TimeArray, known: Known) -> tuple[TimeArray, FloatArray]:
    """Days with enough true steady operation towards the rooms, and the mean subcooling there."""
    good = known.steady & known.running & (known.direction > 0) & np.isfinite(known.subcooling_k)
    day, row = np.unique(time[good].astype("datetime64[D]"), return_inverse=True)
    count = np.bincount(row, minlength=day.size)
    mean = np.bincount(row, weights=known.subcooling_k[good], minlength=day.size)
    step_s = float(np.median(np.diff(time) / np.timedelta64(1, "s")))
    enough = count * step_s >= STEADY_S
    return day[enough], mean[enough] / count[enough]


def _follow(
    rows: Windows, plant: Plant, days: range, start: np.datetime64
) -> list[tuple[int, Drift, str]]:
    """What is said at the end of each day: its number, the drift, and what leads.

    rows: one a day; a verdict pools its days anyway.
    """
    told = []
    for day in days:
        at = (start + (day + 1) * _DAY).astype("datetime64[us]")
        before = rows.rows(rows.start < at)
        baseline = verdict.baseline(before, plant)
        nothing = Drift(Kind.UNKNOWN, 0, "no past of its own")
        drift = nothing if baseline is None else drifts.drift(before, baseline)
        told.append((day, drift, verdict.judge(before, plant, at).leading))
    return told


def _projected(found: Drift, start: np.datetime64) -> int | None:
    """Day on which the leak is expected to be through."""
    if found.reaches is None or found.reaches.likely is None:
        return None
    return int((found.reaches.likely - start) / _DAY)


def _holds(found: Drift, true: np.datetime64) -> bool:
    """Whether the dates given hold the true one."""
    reaches = found.reaches
    if reaches is None or reaches.earliest is None or reaches.earliest > true:
        return False
    return reaches.latest is None or bool(true <= reaches.latest)


def season(spec: SystemSpec, *, keep: bool) -> Season:
    samples, plant = cases.of(spec, keep=keep).seen()
    rows = pooling.daily(by_days(samples, plant).windows)
    start = samples.time[0].astype("datetime64[D]")
    length = int((samples.time[-1].astype("datetime64[D]") - start) / _DAY)
    told = _follow(rows, plant, range(20, length, 7), start)
    kinds = [drift.kind for _, drift, _ in told]
    return Season(
        looks=len(told),
        falling=kinds.count(Kind.FALLING),
        rising=kinds.count(Kind.RISING),
        steps=kinds.count(Kind.STEP),
        alarms=sum(leading not in examine.QUIET for *_, leading in told),
    )


def _leak_figures(found: list[Leak]) -> Iterable[Figure]:
    own = [leak for leak in found if leak.comparable]
    dated = [leak for leak in own if leak.projected is not None]
    words = "called before subcooling is down to 1 K, with a date"
    yield figures.systems(words, (_in_time(leak) for leak in own)).against(least(0.9))
    yield figures.systems("systems that could show it", (leak.comparable for leak in found))
    yield _days("days from onset to the call", ((it.onset, it.drift_called) for it in own))
    yield _days("days from onset until it is through", ((it.onset, it.through) for it in own))
    yield _days(
        "days from onset until undercharge leads", ((it.onset, it.verdict_called) for it in own)
    )
    yield _days(
        "days by which the likely date is late", ((it.through, it.projected) for it in dated)
    )
    yield figures.systems("the dates hold the true one", (leak.held for leak in dated))
    yield figures.systems("a fall called in the week before", (leak.drift_false for leak in found))
    words = "undercharge led in the week before"
    yield figures.systems(words, (leak.verdict_false for leak in found))


def _in_time(leak: Leak) -> bool:
    if leak.drift_called is None or leak.projected is None or leak.through is None:
        return False
    return leak.drift_called < leak.through


def _days(words: str, spans: Iterable[tuple[int | None, int | None]]) -> Figure:
    """Median length of the spans that have both ends, with the middle four fifths."""
    days = [end - begin for begin, end in spans if begin is not None and end is not None]
    if not days:
        return Figure(words, np.nan, np.nan, np.nan, "none", ".1f")
    low, median, high = np.quantile(days, (0.1, 0.5, 0.9))
    note = f"median, 10th and 90th percentile of {len(days)} systems"
    return Figure(words, float(median), float(low), float(high), note, ".1f")


def _season_figures(found: list[Season]) -> Iterable[Figure]:
    looks = [season.looks for season in found]
    words = "healthy through seasons: a fall is called, a week"
    yield figures.ratio(words, (s.falling for s in found), looks).against(most(0.0))
    yield figures.ratio("  a rise is called, a week", (s.rising for s in found), looks)
    yield figures.ratio("  a step is called, a week", (s.steps for s in found), looks)
    words = "  a fault leads, a week"
    yield figures.ratio(words, (s.alarms for s in found), looks).against(most(0.01))
