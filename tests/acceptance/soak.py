"""Keeps a working stack under uploads for an hour, with kills: does anything grow, is all kept?

    python -m tests.acceptance.soak --minutes 60 --seed 5

Gateways send for as long as it lasts; one process or server at a time is killed, at random moments.
Memory, handles, connections, disk and the broker's data are read four times a minute, and a line
is fitted to each. At the end every acknowledged row has to be stored once, results have to be those
of the same uploads taken in undisturbed, and the database may have grown by twice as much at most.
"""

from __future__ import annotations

import argparse
import csv
import random
import shutil
import sys
import time
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

from tests.acceptance import trial
from tests.acceptance.casualties import Casualties, schedule
from tests.acceptance.growth import TITLE, Bar, Growth, Reading, fit
from tests.acceptance.pieces import cut_logs
from tests.acceptance.trial import Outcome, Scene, Sending
from tests.acceptance.vitals import MIB, Watch
from tests.embedded.harness import Stack, new_folder

BARS = {
    "memory MiB": Bar(0.10, 8.0),
    "memory together MiB": Bar(0.10, 8.0),
    "handles": Bar(0.10, 4.0),
    "processes": Bar(0.0, 1.0),
    "connections": Bar(0.10, 2.0),
    "data KiB": Bar(0.10, 512.0),
    "messages": Bar(0.10, 10.0),
    "all else MiB": Bar(0.10, 4.0),
}
LOG_LIMIT_MIB = 1.1 * 1024  # what max_wal_size allows, and a little for the moment it is passed
ROOM_TIMES, ROOM_ANYHOW_MIB = 2.0, 8.0
"""The database's growth against that by the same uploads in a clean run; first pages of tables."""
PIECES_PER_HOUR = 7.4


@dataclass(frozen=True)
class Plan:
    """How long, how many uploads a second, and how far apart the kills are."""

    minutes: float
    seed: int
    rate: float = 0.5
    apart_s: float = 150.0
    every_s: float = 15.0
    settled: float = 4.0

    @property
    def hours(self) -> float:
        """Length of the logs: new uploads until the end."""
        return max(6.0, 1.1 * self.minutes * 60.0 * self.rate / PIECES_PER_HOUR)

    @property
    def pause_s(self) -> float:
        """A gateway's mean pause between uploads."""
        return trial.GATEWAYS / self.rate


@dataclass
class Soaked:
    """The outcome of the trial, the readings, and what was fitted to them."""

    outcome: Outcome
    readings: list[Reading] = field(default_factory=list)
    growths: list[Growth] = field(default_factory=list)
    missed: int = 0

    def lines(self) -> Iterator[str]:
        """Everything measured, a line each."""
        yield TITLE
        yield from (growth.line() for growth in self.growths)
        yield f"readings              {len(self.readings)}, rounds in part missed {self.missed}"
        grown, clean = self.outcome.grown_bytes / MIB, self.outcome.clean_bytes / MIB
        yield f"database grew by      {grown:.1f} MiB; by the same undisturbed {clean:.1f} MiB"
        yield from self.outcome.lines()

    def judge(self) -> None:
        """Add what grows to the outcome's faults."""
        faults = self.outcome.faults
        faults += [f"{each.kind}: {each.measure} grows" for each in self.growths if each.grows]
        fitted = {(growth.kind, growth.measure) for growth in self.growths}
        expected = {"web", "worker", "pool", "scheduler", "keeper", "database", "broker"}
        if unseen := expected - {kind for kind, measure in fitted if measure == "memory MiB"}:
            faults.append(f"too few readings of {', '.join(sorted(unseen))}")
        log = max((r.value for r in self.readings if r.measure == "log of writes MiB"), default=0.0)
        if log > LOG_LIMIT_MIB:
            faults.append(f"the log of writes took {log:.0f} MiB")
        if self.outcome.grown_bytes > ROOM_TIMES * self.outcome.clean_bytes + ROOM_ANYHOW_MIB * MIB:
            faults.append("the database grew by more than what was stored explains")

    def write(self, file: Path) -> None:
        """Every reading, as CSV."""
        with file.open("w", newline="", encoding="utf-8") as out:
            rows = csv.writer(out)
            rows.writerow(("minute", "of", "what", "value", "life"))
            rows.writerows(
                (f"{r.minute:.2f}", r.kind, r.measure, f"{r.value:.2f}", r.life)
                for r in self.readings
            )


def run(plan: Plan) -> Soaked:
    """Start a stack in a folder of its own, let it work, kill, and judge."""
    folder, logs = new_folder(), cut_logs(plan.seed, plan.hours)
    rng, counted = random.Random(plan.seed), Counter[str]()
    watches: list[Watch] = []

    def soak(scene: Scene) -> None:
        watch = Watch(scene, plan.every_s)
        watches.append(watch)
        watch.start()
        try:
            _kill_at_random(plan, scene, rng, counted)
        finally:
            watch.stop()

    try:
        stack = Stack(folder / "data")
        outcome = trial.run(stack, Sending(logs, plan.seed, plan.pause_s), soak)
    finally:
        shutil.rmtree(folder, ignore_errors=True)
    outcome.kills = counted
    (watch,) = watches
    found = Soaked(outcome, watch.readings, list(fit(watch.readings, BARS, plan.settled)))
    found.missed = watch.missed
    found.judge()
    return found


def _kill_at_random(plan: Plan, scene: Scene, rng: random.Random, counted: Counter[str]) -> None:
    until = time.monotonic() + 60.0 * plan.minutes
    kinds = Casualties(scene.stack, scene.keeper).kinds()
    for kind in schedule(list(kinds), 1 + int(120.0 * plan.minutes / plan.apart_s), rng):
        pause_s = rng.uniform(0.3, 1.7) * plan.apart_s
        if time.monotonic() + pause_s > until:
            break
        time.sleep(pause_s)
        kinds[kind]()
        counted[kind] += 1
    time.sleep(max(0.0, until - time.monotonic()))


def main() -> int:
    """Print the figures; 1 if anything grew, was lost, doubled, invented or differs."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--minutes", type=float, default=60.0)
    parser.add_argument("--seed", type=int, default=5)
    parser.add_argument("--rate", type=float, default=0.5, help="uploads a second")
    parser.add_argument("--apart", type=float, default=150.0, help="mean seconds between kills")
    parser.add_argument("--output", type=Path, help="a .csv file for every reading")
    given = parser.parse_args()
    found = run(Plan(given.minutes, given.seed, given.rate, given.apart))
    if given.output:
        found.write(given.output)
    print("\n".join(found.lines()))  # noqa: T201
    return 1 if found.outcome.faults else 0


if __name__ == "__main__":
    sys.exit(main())
