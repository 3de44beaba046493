"""Window rows against sums done by hand, on signals given sample by sample."""

from __future__ import annotations

from dataclasses import fields, replace
from typing import Any

import numpy as np
import pytest

from diagnostics import reduction
from diagnostics.channels import CALLS
from diagnostics.samples import FloatArray, Samples
from diagnostics.signals import gather
from diagnostics.signals.cleaning import Cleaned
from diagnostics.signals.gather import Checked
from diagnostics.signals.hunting import Hunting
from diagnostics.signals.state import State, States
from diagnostics.windows import Windows
from tests.diagnostics.record import START, instants, plant, running

N = 6
"""Samples 300 s apart: two windows of three."""
FIVE_MINUTES = 300.0
COOL, HEAT = float(CALLS.index("cool")), float(CALLS.index("heat"))
NAN = np.nan


def column(*values: float) -> FloatArray:
    return np.array(values)


def given_states(code: State, steady: bool = True, pure: int = 0) -> States:
    on = np.full(N, code is not State.OFF)
    return States(np.full(N, code, np.int8), on, on & steady, np.full(N, pure, np.int8))


def scene(states: States | None = None, **outdoor: FloatArray | float) -> Checked:
    """Everything at rest, nothing known but what is put in by ``replace``."""
    found = gather.check(running(N, FIVE_MINUTES, outdoor), plant())
    blank = {
        name: _blank(getattr(found, name))
        for name in ("subcooling", "circuit", "coils", "flow", "demand", "instruments")
    }
    return replace(found, states=states or given_states(State.COOLING, pure=1), **blank)


def _blank(part: Any) -> Any:
    """The same with nothing known."""
    values = {field.name: getattr(part, field.name) for field in fields(part)}
    return replace(
        part,
        **{
            name: np.zeros(N, bool) if value.dtype == bool else np.full(N, NAN)
            for name, value in values.items()
            if isinstance(value, np.ndarray) and value.shape == (N,)
        },
    )


def knowing(base: Checked, part: str, **columns: FloatArray) -> Checked:
    return replace(base, **{part: replace(getattr(base, part), **columns)})


def rows(given: Checked, name: str) -> list[float]:
    return reduction.reduce(given).column(name).tolist()


def test_a_sample_stands_for_the_time_since_the_one_before_at_most_two_intervals() -> None:
    """Samples at 0, 300, 600, then after a gap 2400, 2700, 3000 s: 900 s, then 600 + 300 + 300."""
    base = scene()
    at = column(0, 300, 600, 2400, 2700, 3000)
    samples = Samples(instants(at), base.samples.outdoor, {})
    found = reduction.reduce(gather.check(samples, plant()))
    starts = (found.start - START) / np.timedelta64(1, "s")
    assert starts.tolist() == [0.0, 1800.0, 2700.0]
    assert found.column("logged_s").tolist() == [900.0, 600.0, 600.0]


def test_no_samples_make_no_rows() -> None:
    base = scene()
    none = base.samples.between(START, START)
    assert len(reduction.reduce(gather.check(none, plant()))) == 0


def test_means_pass_over_what_is_missing_and_weigh_by_time() -> None:
    base = knowing(scene(), "circuit", pressure_ratio=column(2.0, 4.0, NAN, NAN, NAN, NAN))
    assert rows(base, "pressure_ratio")[0] == pytest.approx(3.0)
    assert np.isnan(rows(base, "pressure_ratio")[1])


@pytest.mark.parametrize(
    ("code", "seconds"),
    [
        (State.COOLING, 900.0),
        (State.SIMULTANEOUS, 900.0),
        (State.OFF, 0.0),
        (State.STARTING, 0.0),
        (State.DEFROST, 0.0),
        (State.OIL_RETURN, 0.0),
    ],
)
def test_starts_defrost_and_oil_return_are_no_running_time(code: State, seconds: float) -> None:
    base = scene(given_states(code))
    assert rows(base, "running_s") == [seconds] * 2
    assert rows(base, "steady_s") == [seconds] * 2
    assert rows(base, "simultaneous_s") == [900.0 * (code is State.SIMULTANEOUS)] * 2


def test_operation_that_is_not_steady_runs_only() -> None:
    base = scene(given_states(State.COOLING, steady=False, pure=1))
    assert (rows(base, "running_s"), rows(base, "steady_s")) == ([900.0] * 2, [0.0] * 2)
    assert rows(base, "loaded_s") == [0.0] * 2


def test_load_begins_at_a_quarter_of_the_largest_speed() -> None:
    """110 rev/s at most: 27.5 counts, 27.4 does not."""
    speed = column(27.4, 27.5, 110.0, 0.0, 0.0, 55.0)
    cooling = scene(compressor_speed=speed)
    assert rows(cooling, "loaded_s") == [600.0, 300.0]
    assert rows(cooling, "cooling_s") == [600.0, 300.0]
    assert rows(cooling, "heating_s") == [0.0, 0.0]
    heating = scene(given_states(State.HEATING, pure=-1), compressor_speed=speed)
    assert rows(heating, "heating_s") == [600.0, 300.0]
    assert rows(heating, "cooling_s") == [0.0, 0.0]
    both = scene(given_states(State.SIMULTANEOUS), compressor_speed=speed)
    assert (rows(both, "cooling_s"), rows(both, "heating_s")) == ([0.0] * 2, [0.0] * 2)


def test_subcooling_is_kept_by_the_way_of_the_liquid() -> None:
    """Two samples to the indoor units, two to the coil; of the rest one way is not known, one
    subcooling is not."""
    base = scene(compressor_speed=55.0, outdoor_air_temperature=column(1, 2, 3, 4, 5, 6) + 290.0)
    way = replace(base.direction, sign=np.array([1, 1, 0, -1, -1, 1], np.int8))
    base = knowing(
        replace(base, direction=way),
        "subcooling",
        upstream_k=column(4, 8, 1, 10, 12, NAN),
        other_k=column(14, 16, 1, 20, 22, 1),
        sigma_k=column(0.5, 0.7, 9, 1.0, 1.2, 9),
        at_saturation=np.array([True, False, True, True, False, True]),
    )
    expected = {
        "judged_s": [900.0, 600.0],
        "to_indoor_s": [600.0, 0.0],
        "to_outdoor_s": [0.0, 600.0],
        "subcooling_to_indoor_k": [6.0, NAN],
        "subcooling_to_outdoor_k": [NAN, 11.0],
        "other_to_indoor_k": [15.0, NAN],
        "other_to_outdoor_k": [NAN, 21.0],
        "sigma_to_indoor_k": [0.6, NAN],
        "sigma_to_outdoor_k": [NAN, 1.1],
        "load_to_indoor": [0.5, NAN],
        "air_to_indoor_k": [291.5, NAN],
        "air_to_outdoor_k": [NAN, 294.5],
        "saturated_share": [0.5, NAN],
    }
    found = reduction.reduce(base)
    for name, values in expected.items():
        np.testing.assert_allclose(found.column(name), values, err_msg=name)


def test_demand_is_high_from_six_tenths_on() -> None:
    base = scene(compressor_speed=column(110, 55, 11, 110, 55, 11))
    base = knowing(
        base,
        "demand",
        share=column(0.59, 0.6, 1.0, 0.0, NAN, 0.7),
        shortfall_k=column(3.0, 1.0, 2.0, 9.0, 9.0, 0.6),
    )
    expected = {
        "asking_s": [900.0, 300.0],
        "high_demand_s": [600.0, 300.0],
        "demand_share": [2.19 / 3, 0.35],
        "shortfall_k": [2.0, 0.6],
        "shortfall_high_demand_k": [1.5, 0.6],
        "speed_high_demand": [0.3, 0.1],
        "short_s": [600.0, 0.0],
        "speed_short": [0.3, NAN],
    }
    found = reduction.reduce(base)
    for name, values in expected.items():
        np.testing.assert_allclose(found.column(name), values, err_msg=name)


@pytest.mark.parametrize(
    ("code", "pure", "name", "missed_k"),
    [
        (State.COOLING, 1, "evaporating_error_k", 1.0),
        (State.SIMULTANEOUS, 0, "evaporating_error_k", 1.0),
        (State.HEATING, -1, "condensing_error_k", -1.0),
    ],
)
def test_rooms_are_short_only_while_the_target_is_attained(
    code: State, pure: int, name: str, missed_k: float
) -> None:
    """Evaporating 2 K above its target, or condensing 2 K below, still counts as attained."""
    base = knowing(
        scene(given_states(code, pure=pure)),
        "demand",
        share=np.ones(N),
        shortfall_k=column(0.7, 0.71, 0.71, 0.71, 0.71, 0.71),
    )
    missed = missed_k * column(0.0, 2.0, 2.1, NAN, -5.0, 5.0)
    assert rows(knowing(base, "circuit", **{name: missed}), "short_s") == [300.0, 600.0]


def test_valves_are_those_of_units_that_ask_for_cooling() -> None:
    units = {
        "valve": np.array([[0.2, 0.2, 0.2, NAN, 0.3, 0.3], [0.8, 0.8, 0.8, 0.8, 0.9, 0.9]]),
        "call": np.array([[COOL] * 6, [COOL, HEAT, COOL, COOL, HEAT, HEAT]]),
        "demand": np.array([[1.0, 1, 0, 1, 0, 0], [1.0, 1, 0, 1, 1, 1]]),
    }
    base = knowing(scene(), "demand", share=np.ones(N), shortfall_k=np.zeros(N))
    samples = Samples(base.samples.time, base.samples.outdoor, units)
    base = replace(base, cleaned=Cleaned(samples, {}))
    # 0.5 and 0.2, nobody asks; then 0.8, nobody cools.
    assert rows(base, "indoor_valve_share") == pytest.approx([0.35, 0.8])


def test_the_line_flow_is_held_against_the_compressor_s_as_a_logarithm() -> None:
    base = knowing(
        scene(),
        "flow",
        quantified=np.array([True, True, True, False, True, True]),
        balance_kg_s=column(0.2, 0.1, 0.0, 0.2, 0.05, NAN),
        compressor_kg_s=np.full(N, 0.1),
    )
    found = reduction.reduce(base)
    assert found.column("flow_s").tolist() == [900.0, 600.0]
    assert found.column("flow_log_ratio") == pytest.approx([np.log(2) / 2, -np.log(2)])
    both = replace(base, states=given_states(State.SIMULTANEOUS))
    assert rows(both, "flow_s") == [0.0, 0.0]


def test_drops_rest_on_samples_of_a_pure_mode_only() -> None:
    base = scene()
    checks = {
        "drop_valve_open_k": column(8, 10, NAN, NAN, 6, 6),
        "expected_drop_k": column(9, 9, 1, 1, 7, 7),
        "drop_valve_closed_k": column(NAN, NAN, 2, 1, NAN, NAN),
    }
    base = knowing(base, "instruments", **checks)
    base = replace(base, instruments=replace(base.instruments, leak_sigma_k=0.25))
    found = reduction.reduce(base)
    for name, values in {
        "open_s": [600.0, 600.0],
        "closed_s": [300.0, 300.0],
        "drop_open_k": [9.0, 6.0],
        "expected_drop_k": [9.0, 7.0],
        "drop_closed_k": [2.0, 1.0],
        "leak_sigma_k": [0.25, 0.25],
    }.items():
        np.testing.assert_allclose(found.column(name), values, err_msg=name)
    both = replace(base, states=given_states(State.SIMULTANEOUS))
    assert rows(both, "open_s") == rows(both, "closed_s") == [0.0, 0.0]


def hunted(base: Checked, per_sample: list[int], interval_s: float = 10.0) -> Checked:
    """Blocks of ten minutes at 0, 600 and 1200 s; the first and the last hunt."""
    block = START + np.arange(3) * np.timedelta64(600, "s")
    yes = np.array([True, False, True])
    hunting = Hunting(
        block,
        yes,
        yes,
        period_s=column(100, 999, 200),
        opening_swing=np.zeros(3),
        liquid_swing_k=column(2, 99, 4),
        regularity=np.zeros(3),
        decay_ratio=np.zeros(3),
        mean_opening=column(0.4, 0.9, 0.6),
        per_sample=np.array(per_sample, np.int8),
        interval_s=interval_s,
    )
    return replace(base, hunting=hunting, timebase=_quick(base))


def _quick(base: Checked) -> Any:
    """Readings that stand for five minutes each, but were logged every ten seconds."""
    return replace(base.timebase, usual_s=np.full(N, 10.0))


def test_a_block_that_hunts_belongs_to_the_window_of_its_middle() -> None:
    """Middles at 300, 900 and 1500 s: the first window, and twice the second."""
    found = reduction.reduce(hunted(scene(), [1, 1, -1, -1, 1, 1]))
    for name, values in {
        "hunting_period_s": [100.0, 200.0],
        "hunting_swing_k": [2.0, 4.0],
        "hunting_opening": [0.4, 0.6],
    }.items():
        assert found.column(name).tolist() == values, name


def test_hunting_is_judged_while_readings_are_less_than_a_minute_apart() -> None:
    for interval_s, judged in ((10.0, True), (59.0, True), (60.0, False)):
        found = rows(hunted(scene(), [1, 0, -1, 0, 0, 1], interval_s), "hunting_judged_s")
        assert [seconds > 0 for seconds in found] == [judged] * 2


def test_hunting_under_demand_is_the_share_of_pure_operation_that_shows_it() -> None:
    """The first sample stands for the 10 s before it, each other one for 20 s at most."""
    base = knowing(hunted(scene(), [1, 0, -1, 1, 1, 0]), "demand", share=column(1, 1, 1, 1, 0.1, 1))
    assert rows(base, "hunting_high_demand") == pytest.approx([10 / 50, 20 / 40])
    assert rows(base, "hunting_s") == pytest.approx([10.0, 40.0])
    both = replace(base, states=given_states(State.SIMULTANEOUS))
    assert rows(both, "hunting_demand_s") == [0.0, 0.0]


def test_a_restless_valve_moves_by_more_than_eight_per_cent_of_its_opening() -> None:
    """0.40 to 0.43 is 7.2 % of their middle, 0.43 to 0.47 is 8.9 %; below 0.02 nothing counts.

    The first sample stands for 120 s, each other one for 240 s.
    """
    opening = column(0.40, 0.43, 0.47, 0.47, 0.01, 0.015)
    base = scene(compressor_speed=55.0, subcooler_valve=opening)
    base = replace(base, timebase=replace(base.timebase, usual_s=np.full(N, 120.0)))
    # The last but one is seen from 0.47: a middle of 0.24, and moved.
    assert rows(base, "restlessness") == pytest.approx([240 / 600, 240 / 480])
    slow = replace(base, timebase=replace(base.timebase, usual_s=np.full(N, 121.0)))
    assert rows(slow, "restless_s") == [0.0, 0.0]


def test_checks_at_rest_are_kept_apart_from_operation() -> None:
    base = knowing(
        scene(given_states(State.OFF)),
        "instruments",
        standstill_difference_pa=column(NAN, 1e3, 3e3, NAN, NAN, NAN),
        standstill_discharge_k=column(NAN, NAN, NAN, 0.5, NAN, NAN),
        standstill_suction_k=column(NAN, 1.0, NAN, NAN, NAN, NAN),
        resting=np.array([False, False, True, True, True, True]),
        resting_outdoor_side_k=column(NAN, NAN, 1.0, 2.0, 4.0, 6.0),
        resting_suction_k=column(NAN, NAN, 1.0, -2.0, -4.0, -6.0),
    )
    found = reduction.reduce(base)
    for name, values in {
        "running_s": [0.0, 0.0],
        "standstill_s": [600.0, 300.0],
        "standstill_difference_pa": [2e3, NAN],
        "standstill_discharge_k": [NAN, 0.5],
        "standstill_suction_k": [1.0, NAN],
        "resting_s": [300.0, 900.0],
        "resting_outdoor_side_k": [1.0, 4.0],
        "resting_suction_k": [1.0, -4.0],
    }.items():
        np.testing.assert_allclose(found.column(name), values, err_msg=name)


def test_a_sample_is_frozen_where_any_reading_stands_still() -> None:
    base = scene()
    still = {
        "suction_temperature": np.array([1, 1, 0, 0, 0, 0], bool),
        "valve": np.array([[0, 1, 0, 0, 0, 0], [0, 0, 0, 1, 1, 0]], bool),
    }
    base = replace(base, cleaned=replace(base.cleaned, flatline=still))
    assert rows(base, "frozen_share") == pytest.approx([2 / 3, 2 / 3])


def test_contradiction_counts_where_the_valve_is_logged() -> None:
    base = scene(subcooler_valve=column(0.4, 0.4, NAN, 0.4, 0.4, 0.4))
    way = replace(base.direction, contradiction=column(1.0, 3.0, 9.0, NAN, -2.0, -2.0))
    found: Windows = reduction.reduce(replace(base, direction=way))
    assert found.column("pure_s").tolist() == [600.0, 600.0]
    assert found.column("contradiction").tolist() == [2.0, -2.0]


CHECKED_WHILE = {
    "above_saturation_k": ("above_saturation_k", "to_indoor_s"),
    "outdoor_side_tracks_air": ("outdoor_side_tracks_air", "tracking_s"),
    "indoor_side_tracks_air": ("indoor_side_tracks_air", "tracking_s"),
    "discharge_below_condensing_k": ("discharge_below_k", "steady_s"),
}


@pytest.mark.parametrize("signal", CHECKED_WHILE)
def test_checks_in_operation_are_means_of_their_own_signal(signal: str) -> None:
    name, seconds = CHECKED_WHILE[signal]
    base = knowing(scene(), "subcooling", upstream_k=np.full(N, 5.0))
    base = replace(base, direction=replace(base.direction, sign=np.ones(N, np.int8)))
    base = knowing(base, "instruments", outdoor_side_tracks_air=np.full(N, 0.25))
    found = reduction.reduce(knowing(base, "instruments", **{signal: column(1, 2, 3, 4, 4, 7)}))
    assert found.column(seconds).tolist() == [900.0, 900.0]
    assert found.column(name) == pytest.approx([2.0, 5.0])


def test_what_is_learned_of_the_span_stands_in_every_row() -> None:
    base = scene()
    base = replace(base, direction=replace(base.direction, offset_sigma_k=0.4))
    base = replace(base, instruments=replace(base.instruments, offset_k=-0.8))
    assert rows(base, "offset_sigma_k") == pytest.approx([0.4, 0.4])
    assert rows(base, "offset_k") == pytest.approx([-0.8, -0.8])
