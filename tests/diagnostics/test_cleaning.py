"""What is removed from the samples, and what is rightly kept."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from diagnostics import cleaning
from diagnostics.samples import FloatArray, Samples
from tests.diagnostics.signals import celsius, instants, running

N = 720
SUCTION = "suction_temperature"
DISCHARGE = "discharge_pressure"


def noisy(level: float, sigma: float, seed: int, n: int = N) -> FloatArray:
    """A signal with noise and a slow swing of four sigmas."""
    swing = 4 * sigma * np.sin(np.linspace(0, 12, n))
    return level + swing + np.random.default_rng(seed).normal(0.0, sigma, n)


def moving(n: int = N, interval_s: float = 10.0, **changes: FloatArray | float) -> Samples:
    """A running system whose temperatures and pressures all move."""
    columns: dict[str, FloatArray | float] = {
        DISCHARGE: noisy(2.5e6, 15e3, 1, n),
        "suction_pressure": noisy(0.8e6, 8e3, 2, n),
        SUCTION: noisy(283.0, 0.3, 3, n),
        "liquid_temperature_outdoor_side": noisy(310.0, 0.3, 4, n),
    }
    return running(n, interval_s, columns | changes)


def test_a_sound_signal_passes_untouched() -> None:
    samples = moving()
    cleaned = cleaning.clean(samples)
    for name, values in samples.outdoor.items():
        np.testing.assert_array_equal(cleaned.samples.outdoor[name], values)
    assert not any(flat.any() for flat in cleaned.flatline.values())
    assert set(cleaned.spike_share.values()) == {0.0}


def test_impossible_values_are_removed_and_nothing_else() -> None:
    suction = noisy(283.0, 0.3, 3)
    suction[[5, 9]] = celsius(-90.0), celsius(400.0)
    samples = moving(suction_temperature=suction)
    cleaned = cleaning.clean(samples).samples
    assert np.flatnonzero(np.isnan(cleaned.outdoor[SUCTION])).tolist() == [5, 9]
    assert not np.isnan(cleaned.outdoor[DISCHARGE]).any()


def test_impossible_room_values_are_removed() -> None:
    rooms = np.full((2, N), celsius(22.0))
    rooms[1, 7] = celsius(85.0)
    cleaned = cleaning.clean(running(N, indoor={"room_temperature": rooms})).samples
    assert np.argwhere(np.isnan(cleaned.indoor["room_temperature"])).tolist() == [[1, 7]]


def test_lone_spikes_are_removed_and_counted() -> None:
    suction = noisy(283.0, 0.3, 3)
    suction[[50, 300]] += [25.0, -12.0]
    cleaned = cleaning.clean(moving(suction_temperature=suction))
    assert np.flatnonzero(np.isnan(cleaned.samples.outdoor[SUCTION])).tolist() == [50, 300]
    assert cleaned.spike_share[SUCTION] == pytest.approx(2 / N)


def test_a_step_is_no_spike() -> None:
    suction = noisy(283.0, 0.2, 3)
    suction[400:] += 20.0
    cleaned = cleaning.clean(moving(suction_temperature=suction))
    assert cleaned.spike_share[SUCTION] == 0.0


def test_a_valve_pulse_that_fills_one_slow_sample_is_no_spike() -> None:
    """Logged each minute, one pulse of the subcooler's valve cools a single sample by 9 K."""
    liquid = noisy(310.0, 0.1, 4)
    liquid[10::30] -= 9.0
    slow = moving(interval_s=60.0, liquid_temperature_outdoor_side=liquid)
    assert cleaning.clean(slow).spike_share["liquid_temperature_outdoor_side"] == 0.0


def test_a_limit_cycle_is_no_series_of_spikes() -> None:
    liquid = 305.0 + 6.0 * np.sign(np.sin(np.arange(N) * 2 * np.pi / 6))
    cleaned = cleaning.clean(moving(liquid_temperature_outdoor_side=liquid))
    assert cleaned.spike_share["liquid_temperature_outdoor_side"] == 0.0


def test_a_frozen_signal_is_found_while_others_move() -> None:
    suction = noisy(283.0, 0.3, 3)
    suction[200:650] = suction[200]
    cleaned = cleaning.clean(moving(suction_temperature=suction))
    assert np.flatnonzero(cleaned.flatline[SUCTION]).tolist() == list(range(200, 650))
    assert np.isnan(cleaned.samples.outdoor[SUCTION][200:650]).all()
    assert not np.isnan(cleaned.samples.outdoor[DISCHARGE]).any()


def test_a_frozen_signal_with_missing_cells_is_still_frozen() -> None:
    suction = noisy(283.0, 0.3, 3)
    suction[200:650] = suction[200]
    suction[300:620:7] = np.nan
    cleaned = cleaning.clean(moving(suction_temperature=suction))
    assert cleaned.flatline[SUCTION][200:650].all()


def test_a_quiet_signal_is_not_frozen_while_the_compressor_stands_still() -> None:
    suction = noisy(283.0, 0.3, 3)
    suction[100:650] = suction[100]
    still = np.where(np.arange(N) < 90, 60.0, 0.0)
    cleaned = cleaning.clean(moving(suction_temperature=suction, compressor_speed=still))
    assert not cleaned.flatline[SUCTION].any()


def test_nothing_is_called_frozen_when_everything_stands_still() -> None:
    """A logger that repeats its last row says nothing of any one sensor."""
    flat = {
        name: np.full(N, values[0]) for name, values in moving().outdoor.items() if values[0] > 200
    }
    cleaned = cleaning.clean(moving(**flat))
    assert not any(mask.any() for mask in cleaned.flatline.values())


def test_openings_and_targets_may_stand_still() -> None:
    cleaned = cleaning.clean(moving(evaporating_target=279.15))
    assert not np.isnan(cleaned.samples.outdoor["subcooler_valve"]).any()
    assert not np.isnan(cleaned.samples.outdoor["evaporating_target"]).any()


@pytest.mark.parametrize("n", [0, 1, 6])
def test_spans_too_short_to_judge_pass(n: int) -> None:
    samples = running(n)
    assert len(cleaning.clean(samples).samples) == n


def test_a_span_without_any_channel_passes() -> None:
    cleaned = cleaning.clean(Samples(instants(np.arange(20.0)), {}, {}))
    assert cleaned.samples.outdoor == {}
    assert cleaned.spike_share == {}


@given(st.sets(st.integers(0, N - 1), max_size=30))
def test_a_missing_cell_takes_nothing_else_with_it(missing: set[int]) -> None:
    suction = noisy(283.0, 0.3, 3)
    suction[list(missing)] = np.nan
    cleaned = cleaning.clean(moving(suction_temperature=suction))
    assert set(np.flatnonzero(np.isnan(cleaned.samples.outdoor[SUCTION]))) == missing


def test_pressures_the_wrong_way_round_are_no_pressures() -> None:
    n = 40
    outdoor = {
        "compressor_speed": np.where(np.arange(n) < 20, 0.0, 50.0),
        "suction_pressure": np.where(np.arange(n) < 30, 2.6e6, 0.9e6) + np.arange(n),
        "discharge_pressure": np.where(np.arange(n) < 30, 0.9e6, 2.6e6) + np.arange(n),
    }
    time = np.datetime64("2026-07-06", "us") + np.arange(n) * np.timedelta64(10, "s")
    cleaned = cleaning.clean(Samples(time, outdoor, {})).samples.outdoor
    for name in ("suction_pressure", "discharge_pressure"):
        kept = ~np.isnan(cleaned[name])
        # at standstill it may be so, and running the right way round
        assert kept[:20].all()
        assert not kept[20:30].any()
        assert kept[30:].all()
