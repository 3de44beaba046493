"""Sensors and clocks at their worst: no exception, and no fault of the plant stated for sure.

The plant is a healthy one of the simulator. What a bad sensor may lead to is "normal", too little
data, or a suspicion of the sensors themselves.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from functools import cache

import numpy as np
import pytest

from diagnostics import verdict
from diagnostics.analyse import analyse
from diagnostics.plant import Plant
from diagnostics.samples import FloatArray, Samples, TimeArray
from diagnostics.verdict import Verdict
from fixtures.plants import CLIMATES, Wish, draw_plant
from fixtures.simulator.simulate import simulate
from fixtures.simulator.spec import LogStyle, Segment
from tests.diagnostics.simulated import samples_and_plant

START = datetime(2026, 7, 6, tzinfo=UTC)
ALLOWED = ("normal", "not_enough_data", "sensor_fault")
SWAPS = (
    ("liquid_temperature_outdoor_side", "liquid_temperature_indoor_side"),
    ("discharge_pressure", "suction_pressure"),
    ("discharge_temperature", "suction_temperature"),
    ("suction_temperature", "liquid_temperature_indoor_side"),
    ("suction_temperature", "liquid_temperature_outdoor_side"),
    ("outdoor_air_temperature", "outdoor_coil_temperature"),
)


@cache
def healthy(hours: float = 60.0, interval_s: int = 20) -> tuple[Samples, Plant]:
    """Two days and a half of an office that has nothing wrong."""
    wish = Wish(
        code="R1",
        start=START,
        segments=(Segment(timedelta(hours=hours), interval_s),),
        refrigerant="R-410A",
        use="office",
        climate=CLIMATES["southern"],
        unit_count=4,
        style=LogStyle(),
    )
    recording = simulate(draw_plant(23, wish))
    return samples_and_plant(recording, recording.spec)


def judged(samples: Samples, plant: Plant) -> Verdict:
    """What is said at the end of the log."""
    return verdict.judge(analyse(samples, plant).windows, plant, samples.time[-1])


def harmless(found: Verdict) -> bool:
    """Nothing of the plant is called for sure."""
    sure = [name for name, share in found.conditions.items() if share >= verdict.CALLED_AT]
    return found.leading in ALLOWED and all(name in ALLOWED for name in sure)


def changed(outdoor: Callable[[str, FloatArray], FloatArray]) -> Samples:
    """The healthy samples with every outdoor channel sent through a function."""
    samples, _ = healthy()
    made = {name: outdoor(name, values.copy()) for name, values in samples.outdoor.items()}
    return Samples(samples.time, made, samples.indoor)


def channels() -> tuple[str, ...]:
    return tuple(healthy()[0].outdoor)


def test_the_plant_itself_is_judged_and_found_normal() -> None:
    found = judged(*healthy())
    assert found.leading == "normal"
    assert found.coverage > 0.3


@pytest.mark.parametrize("kind", ["nan", "inf", "-inf", "absurd"])
@pytest.mark.parametrize("share", [0.02, 0.5, 1.0])
def test_values_that_are_none(kind: str, share: float) -> None:
    rng = np.random.default_rng(1)
    bad = {"nan": np.nan, "inf": np.inf, "-inf": -np.inf, "absurd": 1e300}[kind]

    def holed(_name: str, values: FloatArray) -> FloatArray:
        values[rng.random(values.size) < share] = bad
        return values

    found = judged(changed(holed), healthy()[1])
    assert harmless(found), found
    if share == 1.0:
        assert found.leading == "not_enough_data"


@pytest.mark.parametrize("channel", range(15))
def test_a_sensor_that_stands_still(channel: int) -> None:
    if channel >= len(channels()):
        pytest.skip("the plant has no such channel")
    frozen = channels()[channel]
    found = judged(
        changed(lambda name, it: np.full_like(it, np.nanmedian(it)) if name == frozen else it),
        healthy()[1],
    )
    assert harmless(found), (frozen, found.leading, found.conditions)


@pytest.mark.parametrize("channel", range(15))
def test_a_sensor_that_spikes(channel: int) -> None:
    if channel >= len(channels()):
        pytest.skip("the plant has no such channel")
    spiky, rng = channels()[channel], np.random.default_rng(2)

    def spiked(name: str, values: FloatArray) -> FloatArray:
        if name == spiky:
            at = rng.random(values.size) < 0.05
            values[at] *= rng.uniform(0.3, 3.0, at.sum())
        return values

    found = judged(changed(spiked), healthy()[1])
    assert harmless(found), (spiky, found.leading, found.conditions)


@pytest.mark.parametrize("pair", SWAPS)
def test_two_sensors_whose_wires_were_swapped(pair: tuple[str, str]) -> None:
    samples, plant = healthy()
    one, other = pair
    swapped = {one: samples.outdoor[other], other: samples.outdoor[one]}
    found = judged(Samples(samples.time, samples.outdoor | swapped, samples.indoor), plant)
    assert harmless(found), (pair, found.leading, found.conditions)


def at_times(time: TimeArray, kept: np.ndarray | slice = slice(None)) -> Samples:
    samples, _ = healthy()
    return Samples(
        time,
        {name: values[kept] for name, values in samples.outdoor.items()},
        {name: values[:, kept] for name, values in samples.indoor.items()},
    )


@pytest.mark.parametrize("jump_s", [-3600, 3600, 86_400, 30 * 86_400, -30 * 86_400])
def test_a_clock_that_jumps_again_and_again(jump_s: int) -> None:
    time, plant = healthy()[0].time, healthy()[1]
    pieces = np.arange(time.size) // 500
    moved = time + pieces * np.timedelta64(jump_s, "s")
    # As rows are stored: by time, one for each instant.
    _, kept = np.unique(moved, return_index=True)
    found = judged(at_times(moved[kept], kept), plant)
    assert harmless(found), (found.leading, found.conditions)


def test_a_clock_that_dances_around_every_instant() -> None:
    time, plant = healthy()[0].time, healthy()[1]
    moved = time + np.random.default_rng(3).integers(-90, 90, time.size) * np.timedelta64(1, "s")
    _, kept = np.unique(moved, return_index=True)
    assert harmless(judged(at_times(moved[kept], kept), plant))


@pytest.mark.parametrize(("hours", "interval_s"), [(7.0, 1), (60.0, 300)])
def test_the_fastest_and_the_slowest_log(hours: float, interval_s: int) -> None:
    assert harmless(judged(*healthy(hours, interval_s)))


def test_a_year_of_one_constant() -> None:
    samples, plant = healthy()
    time = np.datetime64("2025-07-06", "us") + np.arange(365 * 96) * np.timedelta64(900, "s")
    at = int(np.argmax(samples.outdoor["compressor_speed"] > 30.0))
    constant = Samples(
        time,
        {name: np.full(time.size, values[at]) for name, values in samples.outdoor.items()},
        {
            name: np.repeat(values[:, at : at + 1], time.size, axis=1)
            for name, values in samples.indoor.items()
        },
    )
    found = judged(constant, plant)
    assert harmless(found), (found.leading, found.conditions)


def test_every_channel_at_its_bottom_and_at_its_top() -> None:
    plant = healthy()[1]
    for end in (np.nanmin, np.nanmax):
        found = judged(changed(lambda _name, it, end=end: np.full_like(it, end(it))), plant)
        assert harmless(found), (found.leading, found.conditions)
