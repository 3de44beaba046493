"""One system through the exam: seen, judged, held against its truth."""

from __future__ import annotations

import sys
from collections.abc import Callable, Mapping
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field
from functools import partial
from typing import TypeVar

import numpy as np

from diagnostics import verdict
from diagnostics.analyse import Analysis
from diagnostics.plant import Plant
from diagnostics.samples import Samples
from diagnostics.signals.state import State
from tests.benchmarks.analysed import by_days
from tests.benchmarks.judgement import cases
from tests.benchmarks.judgement.groups import Sitting
from tests.benchmarks.judgement.held import Tally, hold

QUIET = ("normal", verdict.NOT_ENOUGH_DATA)
HIGH_DEMAND = 0.6
WORKERS = 2

_Given = TypeVar("_Given")
_Got = TypeVar("_Got")


@dataclass(frozen=True, eq=False)
class Outcome:
    """What one system came to.

    truths: its conditions, primary first. severity: of the primary fault. demand_h: hours running
    with 60 % or more of the capacity asking. second: a second condition that was named, if any.
    hunting_judged: share of the running samples for which hunting was affirmed or denied.
    heights_told: the manifest gives the heights of the rooms.
    """

    group: str
    truths: tuple[str, ...]
    faults: tuple[str, ...]
    severity: float
    lookalikes: tuple[str, ...]
    refrigerant: str
    interval_s: int
    weeks: float
    demand_h: float
    conditions: Mapping[str, float]
    leading: str
    second: str
    coverage: float
    hunting_judged: float
    heights_told: bool
    why: str
    tally: Tally = field(repr=False)

    @property
    def truth(self) -> str:
        """The primary condition."""
        return self.truths[0]

    @property
    def healthy(self) -> bool:
        """Nothing is wrong."""
        return self.truth == "normal"

    @property
    def called(self) -> bool:
        """A fault leads."""
        return self.leading not in QUIET

    @property
    def right(self) -> bool:
        """What leads is true; of two faults either."""
        return self.leading in self.truths

    @property
    def stated(self) -> float:
        """Probability of what leads."""
        return self.conditions.get(self.leading, 0.0)

    @property
    def confidently_wrong(self) -> bool:
        """A fault the system does not have is called with a probability of 0.8 or more."""
        return self.called and not self.right and self.stated >= 0.8


def sit(sitting: Sitting, *, keep: bool = True) -> Outcome:
    """The outcome of one system."""
    case = cases.of(sitting.spec, keep=keep)
    samples, plant = case.seen()
    return outcome(sitting, case, samples, plant)


def outcome(sitting: Sitting, case: cases.Case, samples: Samples, plant: Plant) -> Outcome:
    """Analyse and judge what is seen of a case, then, and only then, look at its truth."""
    spec = sitting.spec
    found = by_days(samples, plant)
    judged = verdict.judge(found.windows, plant, samples.time[-1] + np.timedelta64(1, "s"))
    return Outcome(
        group=sitting.group,
        truths=spec.conditions,
        faults=tuple(fault.kind for fault in spec.faults),
        severity=spec.faults[0].severity if spec.faults else 0.0,
        lookalikes=spec.lookalikes,
        refrigerant=spec.refrigerant,
        interval_s=spec.segments[0].interval_s,
        weeks=(spec.end - spec.start).total_seconds() / (7 * 86_400),
        demand_h=_demand_h(samples, plant),
        conditions=dict(judged.conditions),
        leading=judged.leading,
        second=judged.also,
        coverage=judged.coverage,
        hunting_judged=_hunting_judged(found),
        heights_told=all(unit.elevation_m is not None for unit in spec.indoor),
        why=judged.why,
        tally=hold(found, samples, case.known(), spec),
    )


def _hunting_judged(found: Analysis) -> float:
    running = np.isin(found.state, (State.COOLING, State.HEATING, State.SIMULTANEOUS))
    return float((found.hunting[running] >= 0).mean()) if running.any() else 0.0


def _demand_h(samples: Samples, plant: Plant) -> float:
    capacity = np.array([unit.cooling_capacity_w for unit in plant.indoor])
    demand = np.nan_to_num(samples.indoor_or_nan("demand", capacity.size))
    asked = capacity @ demand / capacity.sum()
    running = samples.outdoor_or_nan("compressor_speed") > 0
    step_h = np.diff(samples.seconds(), prepend=0.0) / 3600.0
    return float(np.minimum(step_h, 0.1)[running & (asked >= HIGH_DEMAND)].sum())


def each(work: Callable[[_Given], _Got], given: list[_Given], workers: int = WORKERS) -> list[_Got]:
    """``work`` on every one, by ``workers`` processes, telling on stderr how far it is."""
    got: list[_Got] = []
    with ProcessPoolExecutor(workers) as pool:
        for result in pool.map(work, given, chunksize=2):
            got.append(result)
            if len(got) % 50 == 0 or len(got) == len(given):
                sys.stderr.write(f"\r{len(got)} of {len(given)} ")
                sys.stderr.flush()
    sys.stderr.write("\n")
    cases.trim()
    return got


def outcomes(
    sittings: list[Sitting], workers: int = WORKERS, *, keep: bool = True
) -> list[Outcome]:
    """The outcomes of many systems, in their order."""
    return each(partial(sit, keep=keep), sittings, workers)
