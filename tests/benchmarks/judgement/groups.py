"""Which systems sit the exam: groups drawn from a seed, each for figures of its own.

Two halves with seeds far apart: every number of the method may be chosen on the tuning half, none
on the exam half. Systems are split, never samples of one system.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import combinations, islice

import numpy as np

from fixtures.exams import exam
from fixtures.simulator.sensors import THERMISTORS
from fixtures.simulator.spec import Fault, SystemSpec

TUNING_SEED = 1
EXAM_SEED = 98_001
HALVES = {"tuning": TUNING_SEED, "exam": EXAM_SEED}

FLEET, HEALTHY, WIRES = "fleet", "healthy", "wires"
CLEAR, BIASED, CLASS_A = "clear", "biased", "class_a"
SENSOR_GROUPS = (CLEAR, BIASED, CLASS_A)
RUNGS = {
    "undercharge 10 %": -0.1,
    "undercharge 20 %": -0.2,
    "undercharge 30 %": -0.3,
    "overcharge 10 %": 0.1,
    "overcharge 20 %": 0.2,
    "overcharge 30 %": 0.3,
}


@dataclass(frozen=True)
class Sitting:
    """One system and the group it sits the exam in."""

    group: str
    spec: SystemSpec


@dataclass(frozen=True)
class Size:
    """How large an exam is: systems of the mixture, days of each, and its seed."""

    seed: int
    systems: int = 400
    days: float = 7.0

    def part(self, share: float) -> int:
        """A group's size as a share of the mixture, never below two."""
        return max(2, round(share * self.systems))


def everyone(size: Size) -> list[Sitting]:
    """All groups of the exam, the mixture first."""
    sittings = [Sitting(FLEET, spec) for spec in exam(size.seed, size.systems, size.days)]
    sittings += [Sitting(HEALTHY, spec) for spec in healthy(size, size.part(1 / 2))]
    for place, (rung, severity) in enumerate(RUNGS.items()):
        fault = Fault("charge", severity)
        sittings += [
            Sitting(rung, replace(spec, faults=(fault,)))
            for spec in islice(faulty(replace(size, seed=size.seed + 10 + place)), size.part(1 / 6))
        ]
    for place, name in enumerate(SENSOR_GROUPS):
        sound = sound_sensors(replace(size, seed=size.seed + 20 + place), name)
        sittings += [Sitting(name, spec) for spec in islice(sound, size.part(1 / 6))]
    wired = swapped_wires(replace(size, seed=size.seed + 30))
    return sittings + [Sitting(WIRES, spec) for spec in islice(wired, size.part(1 / 4))]


def healthy(size: Size, count: int) -> list[SystemSpec]:
    """Systems of the mixture with nothing wrong; look-alikes stay."""
    return [replace(spec, faults=()) for spec in exam(size.seed + 1, count, size.days)]


def faulty(size: Size) -> Iterator[SystemSpec]:
    """Systems of the mixture that have a fault, without end."""
    return (spec for spec in _endless(size, None) if spec.faults)


def swapped_wires(size: Size) -> Iterator[SystemSpec]:
    """Healthy systems in which two thermistors sit on each other's terminals, without end."""
    rng = np.random.default_rng(size.seed)
    for spec in _endless(size, None):
        if spec.faults:
            continue
        pairs = list(
            combinations([name for name in THERMISTORS if name not in spec.style.missing], 2)
        )
        one, other = pairs[int(rng.integers(len(pairs)))]
        fault = Fault("swapped_wires", 1.0, channel=one, other_channel=other)
        yield replace(spec, faults=(fault,))


def sound_sensors(size: Size, sensors: str | None) -> Iterator[SystemSpec]:
    """Systems of the mixture whose readings are as good as their class, without end."""
    return (spec for spec in _endless(size, sensors) if "sensor_fault" not in spec.conditions)


def _endless(size: Size, sensors: str | None) -> Iterator[SystemSpec]:
    drawn = 0
    while True:
        # A system depends on its seed and number alone, so a longer draw only adds to a shorter.
        specs = exam(size.seed, drawn + 120, size.days, sensors=sensors)
        yield from specs[drawn:]
        drawn += 120
