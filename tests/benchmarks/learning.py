"""What learning from visits gains, and what wrong reports can cost, with the real table of weights.

    python -m tests.benchmarks.learning --seed 7 --visits 0 20 60 200

Systems are drawn from the table itself, or from worlds it is wrong about. Those it suspects are
visited; a share of the reports is wrong. Then fresh systems are judged by what was learned.
Log-loss is the mean negative logarithm of the probability given to the true condition: lower is
better.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from diagnostics.findings import REGISTRY, Measured
from diagnostics.samples import FloatArray
from diagnostics.weighing import learning, weigh
from diagnostics.weighing.learning import Learned, Outcome, Result
from diagnostics.weighing.weigh import CONDITIONS, Evidence, Weights

SUSPECTED_BELOW = 0.4
"""A system is visited when no fault is given less than this."""
_KNOWN = 0.7
_FRESH = 3000


@dataclass(frozen=True)
class World:
    """How systems really are. wider: spreads of the findings over the table's; odds: of the faults
    against none over the table's, by condition."""

    name: str
    wider: float = 1.0
    odds: tuple[float, ...] = (1.0, 1.0, 1.0, 1.0, 1.0, 1.0)


WORLDS = (
    World("as the table says"),
    World("findings spread half as much again", wider=1.5),
    World("sensors fail thrice, overcharge half as often", odds=(1.0, 0.5, 1.0, 1.0, 1.0, 3.0)),
)


@dataclass(frozen=True, eq=False)
class Systems:
    """Systems that were judged by the plain table: evidence, and true conditions, shape (n,)."""

    evidence: Evidence
    truth: FloatArray

    def probabilities(self, weights: Weights) -> FloatArray:
        """Of the conditions by other weights, shape (n, 6)."""
        return weigh.combine(self.evidence.measured, weights).probabilities

    def rows(self, which: FloatArray) -> Systems:
        """Some of them."""
        measured = tuple(
            Measured(it.value[which], it.expected[which], it.sigma[which], it.resting_s[which])
            for it in self.evidence.measured
        )
        return Systems(weigh.combine(measured, weigh.table()), self.truth[which])


def draw(world: World, count: int, rng: np.random.Generator) -> Systems:
    """Systems of a world, each finding measured in seven of ten."""
    table = weigh.table()
    odds = np.exp(table.prior) * np.array(world.odds)[table.condition]
    way = rng.choice(len(odds), size=count, p=odds / odds.sum())
    measured = []
    for finding in REGISTRY:
        entry = table.likelihoods[finding.name]
        place = np.where(rng.random(count) < entry.share[way], way, 0)
        value = entry.mean[place] + world.wider * entry.spread[place] * rng.normal(size=count)
        value[rng.random(count) >= _KNOWN] = np.nan
        full = np.ones(count)
        measured.append(Measured(value, 0.0 * full, 0.01 * full, 72_000.0 * full))
    return Systems(weigh.combine(tuple(measured), table), table.condition[way])


def suspected(systems: Systems) -> Systems:
    """Those the plain table would send somebody to."""
    return systems.rows(np.flatnonzero(systems.evidence.probabilities[:, 0] < SUSPECTED_BELOW))


def visits(world: World, count: int, wrong: float, rng: np.random.Generator) -> list[Outcome]:
    """Reports of ``count`` visits to suspected systems by ten people, a share of them wrong."""
    found = suspected(draw(world, 12 * count + 50, rng))
    assert len(found.truth) >= count, "too few suspected systems drawn"
    return [_outcome(found, i, wrong, rng) for i in range(count)]


def _outcome(systems: Systems, i: int, wrong: float, rng: np.random.Generator) -> Outcome:
    table, shares = weigh.table(), systems.evidence.shares[i]
    ways = [
        np.flatnonzero(table.condition == c)[shares[table.condition == c].argmax()]
        for c in range(len(CONDITIONS))
    ]
    said = systems.evidence.probabilities[i]
    guess, truth = 1 + int(np.argmax(said[1:])), int(systems.truth[i])
    if rng.random() < wrong:
        truth = int(rng.choice([c for c in range(len(CONDITIONS)) if c != truth]))
    if truth == 0:
        result = Result.NOTHING_FOUND
    else:
        result = Result.CONFIRMED if truth == guess else Result.OTHER_CAUSE
    return Outcome(
        key=f"v{i:04}",
        system=f"s{i}",
        visitor=f"t{i % 10}",
        suspected=CONDITIONS[guess],
        result=result,
        found=CONDITIONS[truth] if result is Result.OTHER_CAUSE else "",
        push={
            finding.name: dict(zip(CONDITIONS, map(float, push[i, ways]), strict=True))
            for finding, push in zip(REGISTRY, systems.evidence.push, strict=True)
        },
        probabilities=dict(zip(CONDITIONS, map(float, said), strict=True)),
    )


@dataclass(frozen=True)
class Score:
    """How fresh systems are judged: log-loss of all and of the suspected; share led rightly."""

    every: float
    suspected: float
    right: float


def score(systems: Systems, weights: Weights) -> Score:
    """How well systems are judged by some weights."""
    told = systems.probabilities(weights)
    loss = -np.log(told[np.arange(len(systems.truth)), systems.truth])
    visited = systems.evidence.probabilities[:, 0] < SUSPECTED_BELOW
    right = told.argmax(axis=1) == systems.truth
    return Score(float(loss.mean()), float(loss[visited].mean()), float(right.mean()))


def compare(world: World, count: int, wrong: float, seed: int) -> tuple[Score, Score, Learned]:
    """Fresh systems by the plain table and by what ``count`` visits taught."""
    rng = np.random.default_rng(seed)
    table = weigh.table()
    learned = learning.learn(visits(world, count, wrong, rng), table)
    fresh = draw(world, _FRESH, rng)
    return score(fresh, table), score(fresh, learning.apply(table, learned)), learned


def table(seeds: Iterable[int], counts: Iterable[int]) -> Iterable[str]:
    """The lines of the report, each a mean over the seeds."""
    seeds = tuple(seeds)
    yield "| world | visits | wrong reports | log-loss, all | suspected | leading right |"
    yield "|---|---|---|---|---|---|"
    for world in WORLDS:
        for count in counts:
            for wrong in (0.05, 0.3, 1.0):
                made = [compare(world, count, wrong, seed)[:2] for seed in seeds]
                cells = [
                    f"{np.mean([getattr(before, name) for before, _ in made]):.3f} → "
                    f"{np.mean([getattr(after, name) for _, after in made]):.3f}"
                    for name in ("every", "suspected", "right")
                ]
                yield f"| {world.name} | {count} | {wrong:.0%} | {' | '.join(cells)} |"


def main() -> int:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seed", type=int, default=7)
    parser.add_argument("--repeats", type=int, default=3)
    parser.add_argument("--visits", type=int, nargs="+", default=[20, 60, 200])
    options = parser.parse_args()
    seeds = range(options.seed, options.seed + options.repeats)
    for line in table(seeds, options.visits):
        sys.stdout.write(line + "\n")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
