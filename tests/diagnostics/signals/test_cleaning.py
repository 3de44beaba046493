"""What is removed from the samples, and what is rightly kept."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from diagnostics.samples import FloatArray, Samples
from diagnostics.signals import cleaning
from tests.diagnostics.record import celsius, instants, running

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


def test_lone_spikes_are_removed() -> None:
    suction = noisy(283.0, 0.3, 3)
    suction[[50, 300]] += [25.0, -12.0]
    cleaned = cleaning.clean(moving(suction_temperature=suction))
    assert np.flatnonzero(np.isnan(cleaned.samples.outdoor[SUCTION])).tolist() == [50, 300]


def test_a_step_is_no_spike() -> None:
    suction = noisy(283.0, 0.2, 3)
    suction[400:] += 20.0
    cleaned = cleaning.clean(moving(suction_temperature=suction))
    assert not np.isnan(cleaned.samples.outdoor[SUCTION]).any()


def test_a_valve_pulse_that_fills_one_slow_sample_is_no_spike() -> None:
    """Logged each minute, one pulse of the subcooler's valve cools a single sample by 9 K."""
    liquid = noisy(310.0, 0.1, 4)
    liquid[10::30] -= 9.0
    slow = moving(interval_s=60.0, liquid_temperature_outdoor_side=liquid)
    cleaned = cleaning.clean(slow).samples.outdoor["liquid_temperature_outdoor_side"]
    np.testing.assert_array_equal(cleaned, liquid)


def test_a_limit_cycle_is_no_series_of_spikes() -> None:
    liquid = 305.0 + 6.0 * np.sign(np.sin(np.arange(N) * 2 * np.pi / 6))
    cleaned = cleaning.clean(moving(liquid_temperature_outdoor_side=liquid))
    after = cleaned.samples.outdoor["liquid_temperature_outdoor_side"]
    np.testing.assert_array_equal(after, liquid)


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
    assert cleaned.flatline == {}


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


FROZEN_AFTER_S = {
    "discharge_pressure": 1800,
    "suction_pressure": 1800,
    "discharge_temperature": 3600,
    "suction_temperature": 3600,
    "liquid_temperature_outdoor_side": 3600,
    "liquid_temperature_indoor_side": 3600,
    "subcooler_gas_temperature": 3600,
    "outdoor_coil_temperature": 3600,
    "outdoor_air_temperature": 21_600,
}
"""Half an hour for pressures, an hour for pipes, six hours for air."""


@pytest.mark.parametrize("name", FROZEN_AFTER_S)
def test_a_reading_is_frozen_only_after_its_time(name: str) -> None:
    """Logged every second; another channel moves throughout."""
    limit = FROZEN_AFTER_S[name]
    other = SUCTION if name != SUCTION else "discharge_temperature"
    n = limit + 21
    for still, frozen in ((limit, False), (limit + 1, True)):
        values = 300.0 + 0.1 * np.arange(n)
        if name.endswith("pressure"):
            values = 1e6 + np.arange(n) * 100.0
        values[10 : 10 + still] = values[10]
        outdoor = {name: values, other: 285.0 + 0.01 * (np.arange(n) % 500)}
        flat = cleaning.clean(running(n, 1.0, outdoor)).flatline[name]
        assert flat.tolist() == [frozen and 10 <= i < 10 + still for i in range(n)]


@pytest.mark.parametrize(("count", "frozen"), [(7, False), (8, True)])
def test_eight_equal_readings_are_the_fewest_that_are_frozen(count: int, frozen: bool) -> None:
    """Logged every ten minutes; the moving channel has as many."""
    n = count + 2
    values = np.concatenate([[280.0], np.full(count, 281.0), [282.0]])
    other = 300.0 + 3.0 * np.arange(n)
    samples = running(n, 600.0, {SUCTION: values, "discharge_temperature": other})
    assert cleaning.clean(samples).flatline[SUCTION].any() == frozen


@pytest.mark.parametrize(
    ("name", "level", "swing", "moves"),
    [
        ("discharge_temperature", 340.0, 0.99, False),
        ("discharge_temperature", 340.0, 1.01, True),
        (DISCHARGE, 2.5e6, 49e3, False),
        (DISCHARGE, 2.5e6, 52e3, True),
    ],
)
def test_others_move_by_a_kelvin_or_two_per_cent_of_a_pressure(
    name: str, level: float, swing: float, moves: bool
) -> None:
    """Between two levels, so that all but a tenth of the readings lie on them."""
    values = level + swing * (np.arange(100) % 2)
    assert cleaning._span(name, values) is moves
    assert cleaning._span(name, values[:7]) is False


@pytest.mark.parametrize(
    ("name", "interval_s", "jump", "spike"),
    [
        (SUCTION, 1.0, 2.9, False),
        (SUCTION, 1.0, 3.1, True),
        (SUCTION, 10.0, 4.9, False),
        (SUCTION, 10.0, -5.1, True),
        (DISCHARGE, 1.0, 59e3, False),
        (DISCHARGE, 1.0, 61e3, True),
        (DISCHARGE, 10.0, 99e3, False),
        (DISCHARGE, 10.0, 101e3, True),
    ],
)
def test_a_spike_is_farther_and_faster_than_the_truth_can_go(
    name: str, interval_s: float, jump: float, spike: bool
) -> None:
    """3 K and 0.5 K/s, 60 kPa and 10 kPa/s, whichever is more."""
    values = np.full(40, 2.5e6 if name == DISCHARGE else 283.0)
    for place in (0, 1, 20, 38, 39):
        spoilt = values.copy()
        spoilt[place] += jump
        found = cleaning.clean(running(40, interval_s, {name: spoilt})).samples.outdoor[name]
        edge = place in (0, 39)  # it has one neighbour only
        assert np.isnan(found).tolist() == [i == place and spike and not edge for i in range(40)]


def test_a_jump_within_six_sigmas_of_its_neighbourhood_is_no_spike() -> None:
    """Neighbours 1 K below and above by turns: with the jump their median is 1 K above, and the
    median deviation 2 K; six sigmas are 17.8 K, so 18.8 K from the level between."""
    for jump, spike in ((18.5, False), (19.0, True)):
        values = 283.0 + np.array([-1.0, 1, -1, 1, -1, jump, 1, -1, 1, -1, 1])
        found = cleaning.clean(running(11, 1.0, {SUCTION: values})).samples.outdoor[SUCTION]
        assert np.flatnonzero(np.isnan(found)).tolist() == [5] * spike


@pytest.mark.parametrize(("above_pa", "kept"), [(99e3, True), (101e3, False)])
def test_pressures_may_cross_by_what_transducers_are_off(above_pa: float, kept: bool) -> None:
    n = 10
    pressures = {DISCHARGE: np.full(n, 1e6), "suction_pressure": np.full(n, 1e6 + above_pa)}
    for speed, expected in ((60.0, kept), (0.0, True)):
        found = cleaning.clean(running(n, 10.0, pressures | {"compressor_speed": speed}))
        for name in pressures:
            assert np.isfinite(found.samples.outdoor[name]).all() == expected


@pytest.mark.parametrize("missing", ["suction_pressure", DISCHARGE, "compressor_speed"])
def test_pressures_are_not_crossed_where_one_or_the_speed_is_not_logged(missing: str) -> None:
    outdoor = {
        DISCHARGE: np.full(10, 1e6),
        "suction_pressure": np.full(10, 2e6),
        "compressor_speed": np.full(10, 0.6),
    }
    whole = cleaning.clean(Samples(instants(np.arange(10.0)), outdoor, {})).samples.outdoor
    assert np.isnan(whole[DISCHARGE]).all()
    assert np.isnan(whole["suction_pressure"]).all()
    del outdoor[missing]
    left = cleaning.clean(Samples(instants(np.arange(10.0)), outdoor, {})).samples.outdoor
    assert all(np.isfinite(values).all() for values in left.values())
