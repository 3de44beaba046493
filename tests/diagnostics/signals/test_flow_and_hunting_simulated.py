"""Liquid flow and hunting against the truth of simulated systems no constant was chosen on."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pytest

from diagnostics.samples import FloatArray
from diagnostics.signals import gather
from diagnostics.signals.gather import Signals
from diagnostics.signals.state import State
from diagnostics.signals.timebase import BoolArray
from fixtures.fleets import draw
from fixtures.simulator.simulate import simulate
from fixtures.simulator.truth import Truth
from tests.diagnostics.simulated import samples_and_plant

SEED, SYSTEMS, DAYS = 20_261, 16, 1.2


@dataclass(frozen=True)
class Examined:
    """What was told of one system, beside the truth."""

    condition: str
    told: Signals
    truth: Truth

    def steady(self, code: State) -> BoolArray:
        """Samples in one state, truly steady, with liquid truly flowing."""
        flowing = self.truth.liquid_flow_kg_s > 1e-4
        return (self.told.states.state == code) & self.truth.steady & flowing


@pytest.fixture(scope="module")
def fleet() -> list[Examined]:
    """A mixture of healthy and faulty systems, logged every 10 s."""
    examined = []
    for spec in draw(SEED, SYSTEMS, interval_s=10, days=DAYS):
        recording = simulate(spec)
        samples, plant = samples_and_plant(recording, spec)
        examined.append(Examined(spec.condition, gather.compute(samples, plant), recording.truth))
    return examined


def flows(fleet: list[Examined], code: State) -> tuple[FloatArray, BoolArray, float]:
    """Logarithmic errors and coverage of the quantified samples, and their share."""
    errors, covered, count = [], [], 0
    for one in fleet:
        flow, true = one.told.flow, one.truth.liquid_flow_kg_s
        steady = one.steady(code)
        known = steady & flow.quantified
        count += int(steady.sum())
        errors.append(np.log(flow.main_kg_s[known] / true[known]))
        covered.append(((flow.low_kg_s <= true) & (true <= flow.high_kg_s))[known])
    error = np.concatenate(errors)
    return error, np.concatenate(covered), error.size / max(count, 1)


def test_pure_modes_are_within_a_tenth_and_the_bounds_hold(fleet: list[Examined]) -> None:
    for code in (State.COOLING, State.HEATING):
        error, covered, share = flows(fleet, code)
        assert share > 0.5
        assert np.median(np.abs(error)) < 0.15
        assert covered.mean() > 0.85


def test_simultaneous_flow_is_coarse_but_honest(fleet: list[Examined]) -> None:
    error, covered, _ = flows(fleet, State.SIMULTANEOUS)
    assert np.median(np.abs(error)) < 0.5
    assert covered.mean() > 0.7


def test_bounds_stay_in_order_everywhere(fleet: list[Examined]) -> None:
    for one in fleet:
        flow = one.told.flow
        known = flow.quantified
        assert np.all(flow.low_kg_s[known] <= flow.main_kg_s[known])
        assert np.all(flow.main_kg_s[known] <= flow.high_kg_s[known])


def blocks(one: Examined) -> tuple[FloatArray, BoolArray, BoolArray]:
    """Share of each block that truly hunts, whether it was judged, and what was said."""
    told = one.told.hunting
    row = np.searchsorted(told.block_start, one.told.samples.time, side="right") - 1
    count = np.bincount(row, minlength=told.block_start.size)
    share = np.bincount(row, weights=one.truth.hunting, minlength=count.size) / count
    return share, told.judged, told.hunting


def test_hunting_blocks_are_found_and_quiet_ones_left_alone(fleet: list[Examined]) -> None:
    """Blocks that hunt throughout or not at all; the simulator's label flickers at the edges."""
    share, judged, said = (np.concatenate(x) for x in zip(*map(blocks, fleet), strict=True))
    hunts, quiet = judged & (share > 0.9), judged & (share < 0.1)
    assert hunts.sum() > 50
    recall = said[hunts].mean()
    precision = said[hunts].sum() / (said[hunts].sum() + said[quiet].sum())
    assert recall >= 0.95
    assert precision >= 0.85
    assert said[quiet].mean() < 0.03
