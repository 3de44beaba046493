"""On simulated visits, with the real table: learning helps, and wrong reports cannot wreck it."""

from __future__ import annotations

import numpy as np
import pytest

from tests.benchmarks.learning import WORLDS, World, compare

TABLE, TOO_SURE, OTHERS = WORLDS
SEEDS = (31, 32, 33)


def _means(world: World, visits: int, wrong: float) -> tuple[dict[str, float], dict[str, float]]:
    """Mean scores of fresh systems by the plain table and with what was learned."""
    made = [compare(world, visits, wrong, seed)[:2] for seed in SEEDS]
    before, after = (
        {name: float(np.mean([getattr(pair[side], name) for pair in made])) for name in _NAMES}
        for side in (0, 1)
    )
    return before, after


_NAMES = ("every", "suspected", "right")


def test_visits_help_where_findings_are_less_sure_than_the_table_says() -> None:
    before, after = _means(TOO_SURE, 200, 0.05)
    assert after["every"] < before["every"] - 0.05
    assert after["suspected"] < before["suspected"] - 0.05
    assert after["right"] > before["right"] + 0.01


def test_visits_help_a_little_where_other_conditions_are_common() -> None:
    before, after = _means(OTHERS, 200, 0.05)
    assert after["every"] < before["every"] - 0.002


def test_where_the_table_is_right_visits_cost_nothing() -> None:
    before, after = _means(TABLE, 60, 0.05)
    assert after["every"] < before["every"] + 0.002


@pytest.mark.parametrize("world", WORLDS, ids=lambda world: world.name)
def test_two_hundred_wrong_reports_in_a_row_cannot_wreck_it(world: World) -> None:
    """Not one report is right: probabilities suffer a little, the leading condition hardly."""
    before, after = _means(world, 200, 1.0)
    assert after["every"] < before["every"] + 0.08
    assert after["right"] > before["right"] - 0.02


def test_twenty_wrong_reports_move_next_to_nothing() -> None:
    before, after = _means(TABLE, 20, 1.0)
    assert after["every"] == pytest.approx(before["every"], abs=0.005)
    assert after["right"] == pytest.approx(before["right"], abs=0.003)
