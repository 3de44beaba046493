"""From samples to verdict: what a practitioner would say of the same log."""

from __future__ import annotations

import dataclasses
import itertools
import statistics
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from diagnostics import pooling, verdict
from diagnostics.analyse import analyse
from diagnostics.findings import REGISTRY, Context
from diagnostics.samples import Samples
from diagnostics.weighing import weigh
from diagnostics.windows import Windows
from fixtures.plants import Wish, draw_plant
from fixtures.simulator.simulate import simulate
from fixtures.simulator.spec import Fault, Segment, SystemSpec
from tests.benchmarks.analysed import by_days
from tests.diagnostics.record import call, fahrenheit, plant, running
from tests.diagnostics.simulated import samples_and_plant

UNITS = 2
PERIOD_S = 60.0
HALF_DAY = 4320


def _bumping(*, asking: int) -> Samples:
    """Half a day at 40 rev/s, targets met, with ``asking`` of the two rooms asking.

    The valve is thrown between 0 and 40 pulses of 480 while the leaving liquid swings between 91
    and 57 degF inside a minute.
    """
    seconds = np.arange(HALF_DAY) * 10.0
    phase = 2 * np.pi * seconds / PERIOD_S
    high, low = fahrenheit(91), fahrenheit(57)
    late = 0.5 + 0.5 * np.sin(phase - 1.0)
    demand = np.zeros((UNITS, HALF_DAY))
    demand[:asking] = 1.0
    # A little noise keeps the readings from standing still.
    noise = np.random.default_rng(4).normal(0.0, 1.0, (5, HALF_DAY))
    return running(
        HALF_DAY,
        outdoor={
            "compressor_speed": 40.0 + 0.1 * noise[0],
            "discharge_pressure": 2.5e6 + 2e3 * noise[1],
            "suction_pressure": 0.98e6 + 2e3 * noise[2],
            "subcooler_valve": (40 / 480) * (np.sin(phase) > 0),
            "liquid_temperature_outdoor_side": fahrenheit(93) + 0.05 * noise[3],
            "liquid_temperature_indoor_side": high - (high - low) * late,
            "suction_temperature": 282.0 + 0.1 * noise[4],
            "discharge_temperature": 341.0 + 0.1 * noise[0],
            "outdoor_air_temperature": 300.0 + 0.05 * noise[1],
            "evaporating_target": 279.7,
        },
        indoor={
            "demand": demand,
            "call": np.repeat(call("cool", "cool")[:, None], HALF_DAY, axis=1),
            "room_temperature": np.full((UNITS, HALF_DAY), 298.5),
            "setpoint": np.full((UNITS, HALF_DAY), 296.0),
        },
    )


def _pushes(windows: Windows) -> dict[str, float]:
    """How far each finding pushes towards overcharge over all windows."""
    row = pooling.pool(windows)
    weights = weigh.table()
    evidence = weigh.weigh(row, Context(plant()), weights)
    overcharge = weights.hypotheses.index("overcharge_marked")
    return {
        finding.name: float(push[0, overcharge])
        for finding, push in zip(REGISTRY, evidence.push, strict=True)
    }


def test_a_bumping_valve_at_high_demand_with_targets_met_speaks_for_overcharge() -> None:
    """Common practice, no source."""
    analysis = analyse(_bumping(asking=2), plant())
    assert (analysis.hunting == 1).mean() > 0.8
    windows = analysis.windows
    assert pooling.pool(windows).column("hunting_high_demand")[0] > 0.8
    assert pooling.pool(windows).column("short_s")[0] > 0
    pushes = _pushes(windows)
    assert pushes["hunting_under_demand"] > 0.5
    assert pushes["hunting_under_demand"] + pushes["restless_valve"] > 2.0


def test_the_same_bumping_at_low_demand_says_nothing_of_charge() -> None:
    """Common practice, no source."""
    analysis = analyse(_bumping(asking=1), plant())
    assert (analysis.hunting == 1).mean() > 0.8
    assert _pushes(analysis.windows)["hunting_under_demand"] == 0.0


def _charged(seed: int, charge: float) -> SystemSpec:
    start = datetime(2026, 7, 6, tzinfo=UTC)
    faults = (Fault("charge", charge),) if charge else ()
    wish = Wish("R1", start, (Segment(timedelta(days=1), 20),), faults=faults)
    spec = draw_plant(seed, wish)
    climate = dataclasses.replace(spec.climate, mean_c=18.0)
    return dataclasses.replace(spec, climate=climate)


def _suspicion(seed: int, charge: float) -> dict[str, float]:
    recording = simulate(_charged(seed, charge))
    samples, made = samples_and_plant(recording, recording.spec)
    found = by_days(samples, made)
    at = samples.time[-1] + np.timedelta64(1, "s")
    return dict(verdict.judge(found.windows, made, at).conditions)


@pytest.mark.parametrize(("sign", "condition"), [(-1, "undercharge"), (1, "overcharge")])
def test_the_median_suspicion_rises_along_the_ladder_of_charge(sign: int, condition: str) -> None:
    seeds = (5101, 5102, 5103, 5104, 5105)
    medians = [
        statistics.median(_suspicion(seed, sign * step)[condition] for seed in seeds)
        for step in (0.0, 0.1, 0.2, 0.3, 0.4)
    ]
    assert medians[0] < 0.15
    assert medians[-1] > 0.9
    assert all(after >= before - 0.02 for before, after in itertools.pairwise(medians))
