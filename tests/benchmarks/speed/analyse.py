"""A system-year at 10 s with eight indoor units through ``analyse``, beside a floor and a peer.

The year is two simulated weeks over and over, moved in time and each time with other noise; it is
analysed by whole days as the product does, in this process and on one core. The floor reads every
array once. The peer (``practitioner``) gets the same days in turn with ours.
"""

from __future__ import annotations

import resource
import sys
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from functools import partial

import numpy as np

from diagnostics.plant import Plant
from diagnostics.samples import FloatArray, Samples
from fixtures.plants import CLIMATES, Wish, draw_plant
from fixtures.simulator.spec import LogStyle, Segment
from tests.benchmarks.analysed import by_days
from tests.benchmarks.judgement import cases
from tests.benchmarks.speed import bars, practitioner
from tests.benchmarks.speed.bars import Figure, Run
from tests.benchmarks.speed.clocks import times_ms

START = datetime(2026, 6, 10, tzinfo=UTC)
YEAR_DAYS, ROWS_A_DAY, UNITS = 365, 8640, 8
MOST_S, MOST_GIB, LEAST_TIMES = 15.0, 2.0, 30.0
_NOISE = 1e-5
_DAY = np.timedelta64(1, "D")


def simulated(days: int) -> tuple[Samples, Plant]:
    """The record that is repeated; every channel logged."""
    wish = Wish(
        *("R1", START, (Segment(timedelta(days=days), 10),), "R-410A", "office"),
        climate=CLIMATES["southern"],
        unit_count=UNITS,
        style=LogStyle(dropped_rows=0.0),
    )
    return cases.of(draw_plant(11, wish)).seen()


def moved(samples: Samples, days: int, rng: np.random.Generator) -> Samples:
    """The same record some days later, every reading off by other hundred-thousandths."""

    def shaken(values: FloatArray) -> FloatArray:
        moving = np.abs(values) > 1.5  # flags, choices and openings keep their meaning
        return np.where(moving, values * (1 + _NOISE * rng.standard_normal(values.shape)), values)

    return Samples(
        samples.time + days * _DAY,
        {name: shaken(it) for name, it in samples.outdoor.items() if name != "reported_state"}
        | {name: it for name, it in samples.outdoor.items() if name == "reported_state"},
        {name: it if name == "call" else shaken(it) for name, it in samples.indoor.items()},
    )


def year(run: Run, samples: Samples, plant: Plant) -> Iterator[Figure]:
    """The whole year: time, memory and the floor."""
    days, rng = len(samples) // ROWS_A_DAY, np.random.default_rng(5)
    pieces = run.size(-(-YEAR_DAYS // days), 2)
    ours, floor, rows = [], [], 0
    for at in range(pieces):
        piece = moved(samples, at * days, rng)
        if not run.quick and at == pieces - 1:
            piece = piece.between(piece.time[0], piece.time[0] + (YEAR_DAYS - at * days) * _DAY)
        rows += len(piece)
        per_year = YEAR_DAYS * ROWS_A_DAY / len(piece) / 1e3
        ours += [it * per_year for it in _times(run, partial(by_days, piece, plant))]
        floor += [it * per_year for it in _times(run, partial(_one_pass, piece))]
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    gib = peak * (1 if sys.platform == "darwin" else 1024) / 2**30
    told = f"{rows:,} rows{', scaled to a year' if run.quick else ''}, pieces as rounds"
    yield bars.of("analyse, a system-year", "s", ours, MOST_S, note=told)
    yield bars.of("  peak memory of the process", "GiB", [gib], MOST_GIB)
    yield bars.of("  floor: every array read once", "s", floor)
    each = [a / b for a, b in zip(ours, floor, strict=True)]
    yield bars.of("  times the floor", "", each)


def peer(run: Run, samples: Samples, plant: Plant) -> Iterator[Figure]:
    """Single days, ours and theirs in turn: how many times faster, for each refrigerant."""
    days, rounds = len(samples) // ROWS_A_DAY, run.size(9, 2)
    for name, share in (("R-410A", 1.0), ("R-32", 1.0), ("R-454B", 0.005)):
        ratios, theirs = [], []
        for at in range(rounds):
            first = samples.time[0] + (at % days) * _DAY
            day = samples.between(first, first + _DAY)
            log = practitioner.table(day)
            some = log.iloc[:: round(1 / share)]
            (ours,) = _times(run, partial(by_days, day, plant))
            (their,) = _times(run, partial(practitioner.diagnose, some, name))
            ratios.append(their / share / ours)
            theirs.append(their / share / 1e3 * YEAR_DAYS)
        told = f"{rounds} days, in pairs" if share == 1 else f"1 row in {1 / share:.0f}, scaled"
        yield bars.of(f"pandas and CoolProp, {name}, a year", "s", theirs, note=told)
        yield bars.of("  analyse is faster by", "times", ratios, LEAST_TIMES, at_least=True)


def _times(run: Run, step: partial[object]) -> list[float]:
    return times_ms([step], run.by, database=False)


def _one_pass(samples: Samples) -> float:
    return sum(float(np.sum(it)) for it in [*samples.outdoor.values(), *samples.indoor.values()])


def measure(run: Run) -> Iterator[Figure]:
    """Memory first: the peer would add its own."""
    samples, plant = simulated(run.size(14, 1))
    yield from year(run, samples, plant)
    yield from peer(run, samples, plant)


if __name__ == "__main__":
    raise SystemExit(bars.main(measure))
