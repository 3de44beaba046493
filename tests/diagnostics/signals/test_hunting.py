"""Hunting in blocks of ten minutes: what hunts, what does not, and what cannot be judged."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.signal import lfilter

from diagnostics.samples import FloatArray, Samples
from diagnostics.signals import hunting
from diagnostics.signals.hunting import Hunting
from diagnostics.signals.state import State
from tests.diagnostics import made, record
from tests.diagnostics.made import Scene

HOUR_S = 3600.0
Wave = Callable[[FloatArray], FloatArray]


def detect(s: Scene) -> Hunting:
    """Hunting of a scene."""
    return hunting.detect(s.samples, s.timebase, s.states, s.direction, s.plant)


def liquid_after(
    opening: FloatArray, interval_s: float, gain_k: float, lag_s: float = 30.0
) -> FloatArray:
    """Leaving liquid behind exchanger and thermistor: first order, colder the wider the valve."""
    share = 1 - np.exp(-interval_s / lag_s)
    steady = 312.15 - gain_k * opening
    return lfilter([share], [1, share - 1], steady, zi=[(1 - share) * steady[0]])[0]


def swinging(
    opening: Wave,
    interval_s: float = 10.0,
    gain_k: float = 40.0,
    hours: float = 1.0,
    code: State = State.COOLING,
    seconds: FloatArray | None = None,
) -> Scene:
    """Sampled from a fine simulation, so sparse logging sees what a sparse logger would."""
    fine = np.arange(0.0, hours * HOUR_S, 1.0)
    z = np.clip(opening(fine), 0.0, 1.0)
    t = liquid_after(z, 1.0, gain_k)
    rng = np.random.default_rng(11)
    at = np.arange(0.0, hours * HOUR_S, interval_s) if seconds is None else seconds
    outdoor = made.SUBCOOLER | {
        "subcooler_valve": np.interp(at, fine, z),
        "liquid_temperature_indoor_side": np.round(
            np.interp(at, fine, t) + rng.normal(0, 0.08, at.size), 1
        ),
    }
    base = record.running(at.size, 1.0, outdoor)
    samples = Samples(record.instants(at), base.outdoor, {})
    return made.of(samples, made.states(at.size, code))


def sine(period_s: float, swing: float = 0.1, mean: float = 0.4) -> Wave:
    """A limit cycle of the opening, ``swing`` peak to peak."""
    return lambda s: mean + swing / 2 * np.sin(2 * np.pi * s / period_s)


@pytest.mark.parametrize("interval_s", [1.0, 5.0, 10.0, 15.0])
@pytest.mark.parametrize("period_s", [70.0, 110.0, 180.0, 280.0])
def test_a_limit_cycle_hunts_with_its_period_and_swing(interval_s: float, period_s: float) -> None:
    found = detect(swinging(sine(period_s), interval_s))
    assert found.judged.all()
    assert found.hunting.all()
    assert np.median(found.period_s) == pytest.approx(period_s, rel=0.08)
    # A robust peak to peak of five samples a cycle misses the tips.
    assert np.median(found.opening_swing) == pytest.approx(0.1, rel=0.3)
    assert found.mean_opening == pytest.approx(np.full(6, 0.4), abs=0.02)


def test_bang_bang_at_a_small_opening_hunts() -> None:
    """0 to 40 pulses of 480 while the leaving liquid swings from 91 to 57 degF within a minute.

    Common practice, no source: the stream is thin. Throws of irregular length.
    """
    rng = np.random.default_rng(2)
    edges = np.cumsum(rng.uniform(20.0, 60.0, 400))
    wave: Wave = lambda s: np.where(np.searchsorted(edges, s) % 2 == 0, 0.0, 40 / 480)  # noqa: E731
    swing_k = (91 - 57) / 1.8
    found = detect(swinging(wave, 5.0, gain_k=1.7 * swing_k * 480 / 40, code=State.SIMULTANEOUS))
    assert found.hunting.all()
    assert np.median(found.liquid_swing_k) == pytest.approx(swing_k, rel=0.25)


def test_a_cycle_that_the_liquid_does_not_answer_cannot_be_judged() -> None:
    """The thermistor is off the pipe, or the valve does not follow: neither hunting nor quiet."""
    found = detect(swinging(sine(110.0, swing=0.15), gain_k=0.5))
    assert not found.judged.any()
    assert (found.per_sample == -1).all()


def quiet(seconds: FloatArray) -> FloatArray:
    """A valve at rest."""
    return np.full(seconds.size, 0.4)


def drift(seconds: FloatArray) -> FloatArray:
    """A slow ramp."""
    return 0.3 + 0.3 * seconds / HOUR_S


def steps(seconds: FloatArray) -> FloatArray:
    """A step of the load every quarter of an hour."""
    return 0.3 + 0.1 * (np.floor(seconds / 900) % 2)


def fine_control(seconds: FloatArray) -> FloatArray:
    """Corrections of two pulses, the last digit of the command."""
    return 0.4 + 2 / 480 * np.sign(np.sin(2 * np.pi * seconds / 110))


@pytest.mark.parametrize("wave", [quiet, drift, steps, fine_control])
def test_a_quiet_or_rightly_moving_valve_does_not_hunt(wave: Wave) -> None:
    found = detect(swinging(wave, hours=3))
    assert found.judged.all()
    assert not found.hunting.any()


def test_noise_in_both_channels_does_not_hunt() -> None:
    rng = np.random.default_rng(3)
    n = 6 * 360
    outdoor = made.SUBCOOLER | {
        "subcooler_valve": 0.4 + rng.normal(0, 0.02, n),
        "liquid_temperature_indoor_side": 298.15 + rng.normal(0, 0.5, n),
    }
    found = detect(made.scene(n, outdoor=outdoor))
    assert found.judged.all()
    assert found.hunting.mean() <= 0.03


def test_a_valve_that_swings_without_effect_does_not_hunt_the_liquid() -> None:
    scene = swinging(sine(110.0), gain_k=0.0)
    assert not detect(scene).hunting.any()


def test_liquid_that_swings_on_its_own_is_not_the_valves_hunting() -> None:
    n = 360
    wave = 3.0 * np.sin(2 * np.pi * np.arange(n) * 10.0 / 110.0)
    found = detect(made.scene(n, outdoor={"liquid_temperature_indoor_side": 298.15 + wave}))
    assert not found.hunting.any()


def test_liquid_that_enters_swinging_is_not_the_valves_hunting() -> None:
    """A cycling fan moves both thermistors; the valve's control follows it."""
    n = 360
    wave = np.sin(2 * np.pi * np.arange(n) * 10.0 / 180.0)
    outdoor = {
        "subcooler_valve": 0.4 - 0.05 * wave,
        "liquid_temperature_outdoor_side": 312.15 + 3 * wave,
        "liquid_temperature_indoor_side": 298.15 + 3 * wave,
    }
    assert not detect(made.scene(n, outdoor=outdoor)).hunting.any()
    outdoor["liquid_temperature_outdoor_side"] = np.full(n, 312.15)
    assert detect(made.scene(n, outdoor=outdoor)).hunting.all()


def test_the_leaving_side_follows_the_direction() -> None:
    scene = swinging(sine(110.0), hours=0.5)
    outdoor = dict(scene.samples.outdoor)
    a, b = "liquid_temperature_outdoor_side", "liquid_temperature_indoor_side"
    outdoor[a], outdoor[b] = outdoor[b], outdoor[a]
    turned = Samples(scene.samples.time, outdoor, {})
    heating = made.states(len(turned), State.HEATING)
    assert detect(made.of(turned, heating, sign=-1)).hunting.all()
    assert not detect(made.of(turned, heating, sign=1)).hunting.any()
    assert detect(made.of(turned, made.states(len(turned), State.SIMULTANEOUS), 0)).hunting.all()


def test_thirty_second_logging_reports_hunting_but_never_its_absence() -> None:
    found = detect(swinging(sine(200.0), 30.0))
    assert found.hunting.all()
    assert np.median(found.period_s) == pytest.approx(200.0, rel=0.1)
    calm = detect(swinging(quiet, 30.0))
    assert not calm.judged.any()
    assert np.all(calm.per_sample == -1)


@pytest.mark.parametrize("interval_s", [60.0, 300.0])
def test_slow_logging_cannot_judge(interval_s: float) -> None:
    found = detect(swinging(sine(110.0), interval_s, hours=4))
    assert not found.judged.any()
    assert not found.hunting.any()
    assert np.all(found.per_sample == -1)


def test_a_thermistor_asked_once_a_minute_cannot_judge_however_often_it_is_written() -> None:
    scene = swinging(sine(70.0), hours=4)
    held = np.arange(len(scene.samples)) // 6 * 6
    outdoor = {
        name: values[held] if name.startswith("liquid_temperature") else values
        for name, values in scene.samples.outdoor.items()
    }
    repeated = replace(scene, samples=Samples(scene.samples.time, outdoor, {}))
    assert detect(scene).judged.all()
    found = detect(repeated)
    assert found.interval_s == 60.0
    assert not found.judged.any()
    assert np.all(found.per_sample == -1)


def test_jittered_stamps_are_taken_as_they_are() -> None:
    rng = np.random.default_rng(5)
    at = np.sort(np.arange(0, HOUR_S, 10.0) + rng.uniform(-3, 3, 360))
    at = at[(at >= 0) & (rng.random(360) > 0.05)]
    found = detect(swinging(sine(110.0), seconds=at))
    assert found.hunting.all()
    assert np.median(found.period_s) == pytest.approx(110.0, rel=0.05)


def test_a_block_with_a_long_gap_is_not_judged() -> None:
    at = np.arange(0, HOUR_S, 10.0)
    at = at[(at < 630) | (at > 900)]
    found = detect(swinging(sine(110.0), seconds=at))
    assert found.judged.tolist() == [True, False, True, True, True, True]
    assert np.isnan(found.period_s[1])


@pytest.mark.parametrize("code", [State.OFF, State.STARTING, State.DEFROST, State.OIL_RETURN])
def test_transients_are_not_judged(code: State) -> None:
    found = detect(swinging(sine(110.0), code=code))
    assert not found.judged.any()


def test_every_sample_carries_the_word_of_its_block() -> None:
    both: Wave = lambda s: np.where(s < HOUR_S / 2, sine(110.0)(s), 0.4)  # noqa: E731
    found = detect(swinging(both))
    assert found.block_start.size == 6
    assert found.hunting.tolist() == [True] * 3 + [False] * 3
    assert np.all(found.per_sample[:180] == 1)
    assert np.all(found.per_sample[180:] == 0)


def test_blocks_are_aligned_to_utc() -> None:
    scene = swinging(sine(110.0), seconds=np.arange(130.0, 3000.0, 10.0))
    start = detect(scene).block_start
    assert start[0] == np.datetime64("2026-01-05T00:00:00", "us")
    assert np.all(start.astype("datetime64[s]").astype(int) % 600 == 0)


def test_missing_channels_are_not_judged() -> None:
    scene = swinging(quiet)
    outdoor = {k: v for k, v in scene.samples.outdoor.items() if k != "subcooler_valve"}
    bare = replace(scene, samples=Samples(scene.samples.time, outdoor, {}))
    assert not detect(bare).judged.any()


def test_an_empty_span_has_no_blocks() -> None:
    scene = made.scene(1)
    cut = scene.samples.between(scene.samples.time[0], scene.samples.time[0])
    assert detect(made.of(cut, made.states(0))).block_start.size == 0


@settings(max_examples=25, deadline=None)
@given(
    period_s=st.floats(75.0, 220.0),
    swing=st.floats(0.06, 0.3),
    mean=st.floats(0.25, 0.6),
    phase=st.floats(0.0, 600.0),
)
def test_any_clear_limit_cycle_hunts(
    period_s: float, swing: float, mean: float, phase: float
) -> None:
    wave = sine(period_s, swing, mean)
    found = detect(swinging(lambda s: wave(s + phase), gain_k=60.0))
    assert found.hunting.all()
