"""Shared pieces of the quasi-steady detectors, and the smallest spans through all of them."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from diagnostics.signals import demand, hunting, instruments, liquid_flow, timebase
from diagnostics.signals.quasisteady import settled, spread, stride
from diagnostics.signals.state import State
from tests.diagnostics import made


@pytest.mark.parametrize(("interval_s", "every"), [(1.0, 30), (10.0, 3), (30.0, 1), (60.0, 1)])
def test_the_grid_is_no_finer_than_half_a_minute(interval_s: float, every: int) -> None:
    assert stride(timebase.of_seconds(np.arange(20) * interval_s)) == every


def test_a_single_sample_has_no_stride_but_one() -> None:
    assert stride(timebase.of_seconds(np.zeros(1))) == 1


@given(st.integers(1, 12), st.integers(1, 200))
def test_values_are_held_until_the_next_one(every: int, size: int) -> None:
    values = np.arange(0.0, size)
    held = spread(values[::every], every, size)
    assert held.shape == (size,)
    assert np.all(held == values - values % every)


@pytest.mark.parametrize("code", list(State))
def test_transients_and_standstill_are_not_settled(code: State) -> None:
    usual = (State.COOLING, State.HEATING, State.SIMULTANEOUS)
    assert settled(made.states(3, code)).all() == (code in usual)


@pytest.mark.parametrize("n", [0, 1, 2, 3])
def test_the_smallest_spans_go_through_every_detector(n: int) -> None:
    whole = made.scene(4)
    end = whole.samples.time[0] + np.timedelta64(10 * n, "s")
    cut = whole.samples.between(whole.samples.time[0], end)
    s = made.of(cut, made.states(n))
    flow = liquid_flow.estimate(s.samples, s.states, s.direction, s.fluid, s.plant)
    checks = instruments.check(s.samples, s.timebase, s.states, s.direction, s.fluid, s.plant)
    asked = demand.compare(s.samples, s.states, s.plant)
    hunts = hunting.detect(s.samples, s.timebase, s.states, s.direction, s.plant)
    for values in (flow.main_kg_s, checks.above_saturation_k, asked.share, hunts.per_sample):
        assert values.shape == (n,)
    assert not hunts.judged.any()


def test_a_span_without_any_channel_tells_nothing_and_does_not_fail() -> None:
    s = made.scene(360)
    bare = replace(s.samples, outdoor={}, indoor={})
    empty = replace(s, samples=bare, direction=made.known_direction(bare, 0))
    flow = liquid_flow.estimate(bare, s.states, empty.direction, s.fluid, s.plant)
    checks = instruments.check(bare, s.timebase, s.states, empty.direction, s.fluid, s.plant)
    assert not flow.quantified.any()
    assert np.all(np.isnan(flow.high_kg_s))
    assert np.all(np.isnan(checks.drop_valve_open_k))
