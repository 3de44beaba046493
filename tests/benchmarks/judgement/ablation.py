"""What each step is worth: the exam with one step taken out, and the usual practice beside it."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from datetime import timedelta
from functools import partial

import numpy as np

from diagnostics.samples import FloatArray
from fixtures.exams import exam as mixture
from fixtures.simulator.spec import Fault, Segment
from tests.benchmarks.analysed import by_days
from tests.benchmarks.judgement import calibration, cases, changes, exam, examine, naive
from tests.benchmarks.judgement import figures as intervals
from tests.benchmarks.judgement.changes import COMPLETE
from tests.benchmarks.judgement.examine import Outcome
from tests.benchmarks.judgement.figures import Figure
from tests.benchmarks.judgement.groups import FLEET, Sitting, Size, healthy

PRACTICE = "usual practice: mode and fixed limits"
PAST_WEEKS = 4
"""Healthy weeks before the fault where the learned expectation is examined."""

_COLUMNS = (
    ("false", "alarms"),
    ("missed", ""),
    ("mis-", "diagnosed"),
    ("Brier", "worse by"),
    ("Brier", "skill"),
    ("direction", "drop >= 2 K"),
    ("direction", "both modes"),
    ("wrong", "point"),
    ("subcooling", "RMS [K]"),
)
_CELL = 12
_WIDTH = 44


def sit(sitting: Sitting, *, names: tuple[str, ...], keep: bool) -> dict[str, Outcome]:
    """One system judged in several ways; PRACTICE is one of them where it is named."""
    case = cases.of(sitting.spec, keep=keep)
    samples, plant = case.seen()
    made = {}
    for name in names:
        if name == PRACTICE:
            made[name] = _practised(sitting, case)
            continue
        with changes.CHANGES[name]():
            made[name] = examine.outcome(sitting, case, samples, plant)
    return made


def _practised(sitting: Sitting, case: cases.Case) -> Outcome:
    samples, plant = case.seen()
    with changes.mode_decides():
        found = examine.outcome(sitting, case, samples, plant)
        said = naive.leading(by_days(samples, plant).windows)
    return replace(found, leading=said, conditions=naive.conditions(said), second="")


def ablated(size: Size, workers: int, *, keep: bool = True) -> tuple[list[str], list[Figure]]:
    """The table of all steps on the mixture, and that of the learned expectation on histories."""
    names = tuple(changes.CHANGES)
    told = _each(_fleet(size), workers, names, keep=keep)
    past = ("without the learned expectation",)
    known = _each(_histories(size), workers, (COMPLETE, *past), keep=keep)
    head = f"What each step is worth, {len(told)} systems of the mixture"
    second = f"After {PAST_WEEKS} healthy weeks, charge off by 10 % or not, {len(known)} systems"
    return ["", head, *_table(told), "", second, *_table(known)], []


def practised(size: Size, workers: int, *, keep: bool = True) -> tuple[list[str], list[Figure]]:
    """The whole method and the usual practice side by side."""
    told = _each(_fleet(size), workers, (COMPLETE, PRACTICE), keep=keep)
    head = f"Method and usual practice on the same {len(told)} systems of the mixture"
    return ["", head, *_table(told)], []


def _each(
    sittings: list[Sitting], workers: int, names: tuple[str, ...], *, keep: bool
) -> list[dict[str, Outcome]]:
    return examine.each(partial(sit, names=names, keep=keep), sittings, workers)


def _fleet(size: Size) -> list[Sitting]:
    return [Sitting(FLEET, spec) for spec in mixture(size.seed, size.part(1 / 2), size.days)]


def _histories(size: Size) -> list[Sitting]:
    """Healthy weeks, then as many days as the exam has, half of them with a little charge amiss."""
    made = []
    for place, spec in enumerate(healthy(replace(size, seed=size.seed + 50), size.part(1 / 8))):
        span = timedelta(weeks=PAST_WEEKS, days=size.days)
        faults = (Fault("charge", (-0.1, 0.1)[place // 2 % 2]),) if place % 2 else ()
        onset = spec.start + timedelta(weeks=PAST_WEEKS)
        made.append(
            replace(
                spec,
                segments=(Segment(span, 60),),
                faults=tuple(replace(fault, onset=onset) for fault in faults),
            )
        )
    return [Sitting(FLEET, spec) for spec in made]


def _table(told: list[dict[str, Outcome]]) -> Iterable[str]:
    for row in zip(*_COLUMNS, strict=True):
        yield f"{'':{_WIDTH}}" + "".join(f"{it:>{_CELL}}" for it in row)
    complete = [one[COMPLETE] for one in told]
    for name in told[0]:
        own = [one[name] for one in told]
        cells = "".join(f"{cell:>{_CELL}}" for cell in _cells(own, complete))
        yield f"{name:{_WIDTH}}{cells}  {_difference(own, complete)}"


def _cells(outcomes: list[Outcome], complete: list[Outcome]) -> Iterable[str]:
    by_words = {figure.words: figure for _, made in exam.sections(outcomes) for figure in made}
    healthy = [o for o in outcomes if o.healthy]
    yield _percent(intervals.systems("", (o.called for o in healthy)), 1)
    yield _percent(by_words["missed, faulty systems"], 1)
    yield _percent(by_words["misdiagnosed, of the faulty that are called"], 1)
    yield f"{_worse(outcomes, complete).mean():+.3f}"
    yield f"{by_words['Brier skill over the base rates'].value:.3f}"
    yield _percent(by_words["drop >= 2 K, sensors as drawn: right"], 2)
    yield _percent(by_words["cooling and heating at once: right"], 2)
    yield _percent(by_words["stated at the wrong point, sound sensors"], 2)
    yield f"{by_words['RMS, sensors as drawn, sound [K]'].value:.2f}"


def _percent(figure: Figure, digits: int) -> str:
    return "-" if np.isnan(figure.value) else f"{100 * figure.value:.{digits}f} %"


def _worse(outcomes: list[Outcome], complete: list[Outcome]) -> FloatArray:
    """Brier score of every system above that of the whole method; two faults left out."""
    pairs = [(a, b) for a, b in zip(outcomes, complete, strict=True) if len(a.truths) == 1]
    return np.array([calibration.brier(a) - calibration.brier(b) for a, b in pairs])


def _difference(outcomes: list[Outcome], complete: list[Outcome]) -> str:
    """Interval of what the Brier score loses, from the same systems in pairs."""
    worse = _worse(outcomes, complete)
    if not worse.any():
        return "" if all(a is b for a, b in zip(outcomes, complete, strict=True)) else "no change"
    again = intervals.drawn_again(worse.size) @ worse / worse.size
    low, high = np.quantile(again, (0.025, 0.975))
    return f"Brier worse by [{low:+.3f}, {high:+.3f}]"
