"""Kills every part of a working stack at random moments while gateways send uploads.

    python -m tests.acceptance.kills --kills 50 --seed 7

A second scheduler runs all the time. How the outcome is judged: ``tests.acceptance.trial``.
"""

from __future__ import annotations

import argparse
import random
import shutil
import sys
import time
from collections import Counter
from dataclasses import dataclass

from tests.acceptance import trial
from tests.acceptance.casualties import Casualties, schedule
from tests.acceptance.pieces import cut_logs
from tests.acceptance.trial import Outcome, Scene, Sending, count_rows
from tests.embedded.harness import Stack, new_folder

__all__ = ["Outcome", "Plan", "count_rows", "run"]


@dataclass(frozen=True)
class Plan:
    """How many kills, and how far apart."""

    kills: int
    seed: int
    apart_s: float = 3.0

    @property
    def hours(self) -> float:
        """Length of the logs: enough new uploads for every kill to have some to meet."""
        return max(30.0, 3.0 * self.kills)

    def pause_s(self, uploads: int) -> float:
        """A gateway's mean pause between uploads, so that they last as long as the kills."""
        return self.kills * self.apart_s * trial.GATEWAYS / uploads


def run(plan: Plan) -> Outcome:
    """Start a stack in a folder of its own, kill, heal, and compare with a clean run."""
    folder = new_folder()
    logs = cut_logs(plan.seed, plan.hours)
    rng, counted = random.Random(plan.seed), Counter[str]()

    def kill(scene: Scene) -> None:
        with trial.second_scheduler(scene.stack):
            kinds = Casualties(scene.stack, scene.keeper).kinds()
            for kind in schedule(list(kinds), plan.kills, rng):
                time.sleep(rng.uniform(0.3, 1.7) * plan.apart_s)
                kinds[kind]()
                counted[kind] += 1

    sending = Sending(logs, plan.seed, plan.pause_s(len(logs.pieces)))
    try:
        outcome = trial.run(Stack(folder / "data"), sending, kill)
    finally:
        shutil.rmtree(folder, ignore_errors=True)
    outcome.kills = counted
    return outcome


def main() -> int:
    """Print the figures; 1 if anything was lost, doubled, invented or differs."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--kills", type=int, default=50)
    parser.add_argument("--seed", type=int, default=7)
    parser.add_argument("--apart", type=float, default=3.0, help="mean seconds between kills")
    given = parser.parse_args()
    outcome = run(Plan(kills=given.kills, seed=given.seed, apart_s=given.apart))
    print("\n".join(outcome.lines()))  # noqa: T201
    return 1 if outcome.faults else 0


if __name__ == "__main__":
    sys.exit(main())
