"""How often anybody is called to act: a simulated fleet's weeks, replayed day by day.

    python -m tests.benchmarks.notices --seed 90210 --systems 60 --days 21

Every system is simulated and analysed as the product does; then the days pass one after the other:
a day's windows are stored, standing and events follow, and the product looks for news, all of it
in a database. A call to action is a suspicion that is told and still lasts when the day's digest
goes out, or a compressor in danger. Rates are per 1,000 systems and day with a 95 % interval
(Poisson, exact). Systems without a fault give the rate of calls for nothing; a fault that is there
when the data begin is found in the first days, once.
"""

from __future__ import annotations

import argparse
import sys
from collections import Counter
from collections.abc import Iterable, Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from multiprocessing import get_context

import numpy as np
from scipy.stats import chi2

from diagnostics.windows import Windows
from fixtures.fleets import draw
from fixtures.simulator.simulate import simulate
from fixtures.simulator.spec import SystemSpec
from fixtures.simulator.write import SiteSpec, manifest
from tests.benchmarks import private
from tests.benchmarks.analysed import by_days
from tests.diagnostics.simulated import samples_and_plant

BEGIN = datetime(2026, 3, 2, tzinfo=UTC)
"""A Monday: every system's days are moved here by whole weeks, so that all pass at once."""

INTERVAL_S = 60
SETTLING_DAYS = 7
"""Days in which what is wrong when the data begin comes to light; told apart from the rest."""

FAULTS_A_YEAR = 0.1
"""New faults a system and year in the fleet the last line speaks of: an assumption, no source."""


@dataclass(frozen=True)
class Analysed:
    """One system's windows, and whether anything is wrong with it; that only the table knows."""

    spec: SystemSpec
    windows: Windows

    @property
    def healthy(self) -> bool:
        """Nothing was done to it."""
        return not self.spec.faults


@dataclass
class Told:
    """What was told of a group of systems: by kind and day."""

    systems: int = 0
    news: Counter[str] = field(default_factory=Counter)
    calls: Counter[int] = field(default_factory=Counter)
    dangers: Counter[int] = field(default_factory=Counter)
    called: set[int] = field(default_factory=set)

    def between(self, counts: Counter[int], first: int, last: int) -> int:
        """How many fell on these days."""
        return sum(count for day, count in counts.items() if first <= day < last)


def analysed(spec: SystemSpec) -> Analysed:
    """Simulate and analyse; runs in a process of its own."""
    samples, plant = samples_and_plant(simulate(spec), spec)
    return Analysed(spec, by_days(samples, plant).windows)


def moved(windows: Windows, spec: SystemSpec) -> Windows:
    """The windows as if the system's data began at BEGIN."""
    weeks = np.timedelta64(BEGIN.replace(tzinfo=None) - spec.start.replace(tzinfo=None))
    return Windows(windows.start + weeks.astype("timedelta64[us]"), windows.features)


def replay(fleet: list[Analysed], days: int) -> dict[bool, Told]:
    """Let the days pass in a database; what was told of systems with and without a fault."""
    from tests.benchmarks.replay import Replay  # the database must be there before the models

    sites = [
        (manifest(_site(i, it.spec)), moved(it.windows, it.spec)) for i, it in enumerate(fleet)
    ]
    running = Replay(sites)
    told = {True: Told(), False: Told()}
    for it in fleet:
        told[it.healthy].systems += 1
    for day in range(days):
        for place, kind, calls in running.pass_day(BEGIN + timedelta(days=day)):
            group = told[fleet[place].healthy]
            group.news[kind] += 1
            if calls:
                (group.dangers if kind == "urgent" else group.calls)[day] += 1
                group.called.add(place)
    return told


def _site(place: int, spec: SystemSpec) -> SiteSpec:
    return SiteSpec(
        client_code="fleet", client_name="Fleet", code=f"site-{place}", name=f"Site {place}",
        timezone="UTC", systems=(spec,),
    )  # fmt: skip


def rate(count: int, system_days: float) -> str:
    """Events per 1,000 systems and day, with the exact Poisson interval."""
    low = chi2.ppf(0.025, 2 * count) / 2 if count else 0.0
    high = chi2.ppf(0.975, 2 * (count + 1)) / 2
    per = 1000.0 / system_days
    return f"{count * per:8.2f}  [{low * per:.2f}, {high * per:.2f}]  {count} in {system_days:.0f}"


def table(told: dict[bool, Told], days: int) -> Iterator[str]:
    """The lines of the report."""
    yield f"{'per 1,000 systems and day':52}     rate  95 % interval"
    spans = (
        ("first week", 0, SETTLING_DAYS),
        ("after it", SETTLING_DAYS, days),
        ("all days", 0, days),
    )
    for healthy, words in ((True, "nothing wrong"), (False, "a fault")):
        group = told[healthy]
        for span, first, last in spans:
            for kind, counts in (("new suspicions", group.calls), ("dangers", group.dangers)):
                count = group.between(counts, first, last)
                title = f"{words}, {span}: calls, {kind}"
                yield f"{title:52} {rate(count, group.systems * (last - first))}"
        found = len(group.called)
        yield f"{f'{words}: systems ever called for':52} {found:8d} of {group.systems}"
        yield f"{f'{words}: all news by kind':52} {dict(sorted(group.news.items()))}"
    yield from _steady(told, days)


def _steady(told: dict[bool, Told], days: int) -> Iterator[str]:
    """A fleet that has been watched for long: calls for nothing, and each new fault once."""
    quiet, faulty = told[True], told[False]
    if not (quiet.systems and faulty.systems):
        return
    span = quiet.systems * (days - SETTLING_DAYS)
    kinds = (quiet.calls, quiet.dangers)
    nothing = sum(quiet.between(counts, SETTLING_DAYS, days) for counts in kinds)
    each = sum(faulty.calls.values()) + sum(faulty.dangers.values())
    new = 1000 * FAULTS_A_YEAR / 365 * each / faulty.systems
    title = f"steady fleet, {FAULTS_A_YEAR:g} faults a system and year (assumed)"
    yield f"{title:52} {1000 * nothing / span + new:8.2f}  of it {new:.2f} for new faults"


def drawn(seed: int, systems: int, days: int) -> list[SystemSpec]:
    """Two thirds with nothing wrong: their calls are the ones that must be rare."""
    healthy = draw(seed, systems - systems // 3, "normal", INTERVAL_S, days)
    mixed = draw(seed + 1, systems, None, INTERVAL_S, days)
    return [*healthy, *[spec for spec in mixed if spec.faults][: systems // 3]]


def run(specs: Iterable[SystemSpec], days: int, workers: int) -> dict[bool, Told]:
    """Simulate, analyse, replay."""
    with ProcessPoolExecutor(workers, get_context("spawn")) as pool:
        fleet = list(pool.map(analysed, specs))
    private.prepare()
    return replay(fleet, days)


def main() -> int:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seed", type=int, required=True)
    parser.add_argument("--systems", type=int, default=60)
    parser.add_argument("--days", type=int, default=21)
    parser.add_argument("--workers", type=int, default=2)
    options = parser.parse_args()
    if options.days <= SETTLING_DAYS or options.systems < 3:
        parser.error(f"more than {SETTLING_DAYS} days and at least 3 systems are needed")
    specs = drawn(options.seed, options.systems, options.days)
    told = run(specs, options.days, options.workers)
    for line in table(told, options.days):
        sys.stdout.write(line + "\n")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
