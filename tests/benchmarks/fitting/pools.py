"""The systems that the table is fitted on, and what every finding measures of them."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from itertools import islice

import numpy as np

from diagnostics import pooling
from diagnostics.findings import Context
from diagnostics.samples import FloatArray
from diagnostics.weighing import weigh
from fixtures.exams import exam
from fixtures.simulator.spec import Fault, SystemSpec
from tests.benchmarks.analysed import by_days
from tests.benchmarks.judgement import cases, groups
from tests.benchmarks.judgement.examine import each

FLEETS = {101: 300, 102: 240, 103: 240, 201: 240, 302: 480}
HEALTHY = {207: 160, 301: 450}
RUNGS = {
    205: (-0.2, 110),
    206: (-0.3, 60),
    209: (0.2, 60),
    303: (-0.2, 120),
    304: (-0.3, 60),
    305: (0.2, 60),
}
WAYS = {311: 10}
"""Seed to the number of systems: of an exam's mixture, of its healthy ones, of one rung of charge
with its severity, and of each way to be wrong."""

HEALTHY_COUNT, RUNG_COUNT, WAYS_COUNT = 0.7, 0.5, 0.3
"""How much a system counts that is no draw of the mixture, where it counts 1: so that about half of
all are healthy, as the priors say."""


@dataclass(frozen=True, eq=False)
class Measured:
    """Of n systems: deviation, sigma and seconds of every finding, shape (n, findings).

    true: which conditions a system has, shape (n, conditions). count: how much each counts, (n,).
    """

    deviation: FloatArray
    sigma: FloatArray
    resting_s: FloatArray
    true: FloatArray
    count: FloatArray


@dataclass(frozen=True)
class Place:
    """A system and how much it counts."""

    spec: SystemSpec
    count: float


def everyone(share: float = 1.0) -> list[Place]:
    """All systems, or a share of every pool."""

    def part(count: int) -> int:
        return max(1, round(share * count))

    places = [Place(s, 1.0) for seed, n in FLEETS.items() for s in exam(seed, part(n), 7.0)]
    for seed, n in HEALTHY.items():
        drawn = groups.healthy(groups.Size(seed), part(n))
        places += [Place(spec, HEALTHY_COUNT) for spec in drawn]
    for seed, (severity, n) in RUNGS.items():
        drawn_faulty = islice(groups.faulty(groups.Size(seed)), part(n))
        fault = (Fault("charge", severity),)
        places += [Place(replace(spec, faults=fault), RUNG_COUNT) for spec in drawn_faulty]
    for seed, n in WAYS.items():
        places += [Place(spec, WAYS_COUNT) for spec in _ways(seed, part(n))]
    return places


def _ways(seed: int, each_way: int) -> Iterable[SystemSpec]:
    """Systems with one fault, every way to be wrong in turn; look-alikes stay on two of five."""
    rng = np.random.default_rng(seed)
    ways = list(_faults())
    count = each_way * len(ways)
    base = [spec for spec in exam(seed, 3 * count, 7.0) if not spec.faults][:count]
    for place, spec in enumerate(base):
        kind, low, high, channel = ways[place % len(ways)]
        fault = Fault(kind, float(rng.uniform(low, high)), channel=channel)
        alike = spec.lookalikes if rng.random() < 0.4 else ()
        yield replace(spec, faults=(fault,), lookalikes=alike)


def _faults() -> Iterable[tuple[str, float, float, str]]:
    """Kind, lowest and highest severity, channel."""
    for channel in (
        "liquid_temperature_outdoor_side",
        "liquid_temperature_indoor_side",
        "suction_temperature",
        "discharge_temperature",
    ):
        yield "thermistor_bias", 2.5, 6.0, channel
        yield "thermistor_bias", -6.0, -2.5, channel
        yield "frozen_sensor", 1.0, 1.0, channel
    yield "discharge_transducer_offset", 0.12e6, 0.35e6, ""
    yield "discharge_transducer_offset", -0.35e6, -0.12e6, ""
    yield "suction_transducer_offset", 0.06e6, 0.15e6, ""
    yield "suction_transducer_offset", -0.15e6, -0.06e6, ""
    for kind in (
        "liquid_thermistor_outdoor_off_pipe",
        "liquid_thermistor_indoor_off_pipe",
        "swapped_liquid_thermistors",
        "discharge_thermistor_off",
        "suction_thermistor_off",
        "subcooler_valve_stuck_closed",
    ):
        yield kind, 1.0, 1.0, ""
    yield "subcooler_valve_stuck_open", 0.25, 0.65, ""
    yield "subcooler_valve_hunting", 0.4, 1.0, ""
    yield "subcooler_valve_leaking", 0.06, 0.25, ""


def measured(places: list[Place], workers: int) -> Measured:
    """What the findings measure of every system's week, and what is true of it."""
    rows = np.array(each(_of_one, [place.spec for place in places], workers))
    true = [[name in place.spec.conditions for name in weigh.CONDITIONS] for place in places]
    return Measured(
        deviation=rows[:, 0],
        sigma=rows[:, 1],
        resting_s=rows[:, 2],
        true=np.array(true, dtype=np.float64),
        count=np.array([place.count for place in places]),
    )


def _of_one(spec: SystemSpec) -> FloatArray:
    """Deviation, sigma and seconds, shape (3, findings)."""
    samples, plant = cases.of(spec).seen()
    row = pooling.pool(by_days(samples, plant).windows)
    found = weigh.measure(row, Context(plant))
    return np.array(
        [
            [float(getattr(it, name)[0]) for it in found]
            for name in ("deviation", "sigma", "resting_s")
        ]
    )
