"""The parts of what a reading is worth, against sums done by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from diagnostics.findings import Measured
from diagnostics.weighing import settling, weigh
from diagnostics.weighing.onsite import READINGS, Off, Reading
from diagnostics.weighing.settling import _Names, _Predicted

ENTRY = replace(
    weigh.table().likelihoods["upstream_subcooling"],
    mean=np.array([0.0, 4.0]),
    spread=np.array([2.0, 2.0]),
    share=np.array([1.0, 0.25]),
    half_s=3600.0,
)


def logged(value: float, expected: float, sigma: float, hours: float) -> Measured:
    """The row that is asked about, and below it a day's, which is not."""
    columns = (np.array([number, 99.0]) for number in (value, expected, sigma, 3600.0 * hours))
    return Measured(*columns)


def test_bits_of_even_odds() -> None:
    rows = np.array([[0.5, 0.5, 0.0, 0.0], [0.25, 0.25, 0.25, 0.25], [1.0, 0.0, 0.0, 0.0]])
    assert settling._entropy(rows) == pytest.approx([1.0, 2.0, 0.0], abs=1e-9)


def test_a_mixture_has_the_mean_and_spread_of_both_parts() -> None:
    """A quarter at 4 -/+ 0.5, the rest at 3 -/+ 2: mean 3.25, square (16.25 + 3 * 13) / 4."""
    mean, spread = settling._mixed((4.0, 0.5), (3.0, 2.0), 0.25)
    assert mean == pytest.approx(3.25)
    assert spread == pytest.approx(np.sqrt(55.25 / 4.0 - 3.25**2))


def test_a_logged_deviation_holds_the_prediction_by_its_hours_and_uncertainty() -> None:
    """Repeats differ by 0.3 * 2 = 0.6 K; with sigma 0.8 K that is 1 K2, halved by half the hours:
    precision 1/4 + 1/2, mean (4/4 + 1/2) / 0.75 = 2."""
    held, spread = settling._held(
        np.array([4.0]), np.array([2.0]), logged(6.0, 5.0, 0.8, 1.0), ENTRY
    )
    assert held == pytest.approx([2.0])
    assert spread == pytest.approx([np.sqrt(1.0 / 0.75 + 0.36)])


@pytest.mark.parametrize(("value", "sigma"), [(np.nan, 0.8), (6.0, np.nan), (6.0, np.inf)])
def test_what_was_not_logged_holds_nothing(value: float, sigma: float) -> None:
    held, spread = settling._held(
        np.array([4.0]), np.array([2.0]), logged(value, 5.0, sigma, 1.0), ENTRY
    )
    assert (held.tolist(), spread.tolist()) == ([4.0], [2.0])


@pytest.mark.parametrize(("sign", "mean"), [(1, 2.0), (-1, -2.0)])
def test_a_reading_is_off_in_the_direction_of_its_fault(sign: int, mean: float) -> None:
    table = replace(weigh.table(), likelihoods={"upstream_subcooling": ENTRY})
    place = settling._PLACES["upstream_subcooling"]
    nothing = logged(np.nan, np.nan, np.nan, 0.0)
    measured = [nothing] * len(settling._PLACES)
    measured[place] = logged(6.0, 5.0, 0.8, 1.0)
    off = settling._off(Off("upstream_subcooling", sign), 1, tuple(measured), table)
    assert off == pytest.approx((mean, np.sqrt(1.0 / 0.75 + 0.36)))


def test_density_is_that_of_a_normal_distribution_on_its_floor() -> None:
    """Less the factor 1/sqrt(2 pi), which all share."""
    predicted = _Predicted(
        np.array([[0.0, 3.0]]), np.array([[1.0, 2.0]]), np.array([0.1]), np.zeros(1)
    )
    found = predicted.density(np.array([[1.0]]))
    expected = [np.exp(-0.5) + 0.1, np.exp(-0.5) / 2.0 + 0.1]
    assert found[0, 0] == pytest.approx(expected)


def test_the_posterior_is_share_times_density_of_the_conditions_together() -> None:
    """0.5 * 1, 0.25 * 2 and 0.25 * 4 are 0.5, 0.5, 1; the first two are one condition."""
    member = np.array([[1.0, 0.0], [1.0, 0.0], [0.0, 1.0]])
    found = settling._posterior(np.array([[1.0, 2.0, 4.0]]), np.array([0.5, 0.25, 0.25]), member)
    assert found == pytest.approx(np.array([[0.5, 0.5]]))


def test_a_condition_is_named_by_its_heaviest_way() -> None:
    names = _Names(
        np.array([[1.0, 0.0], [0.0, 1.0], [0.0, 1.0]]),
        ("normal", "discharge_pressure_reads_high", "discharge_pressure_reads_low"),
    )
    said = names.words(1, np.array([0.6, 0.1, 0.3]))
    assert said.endswith(f"({settling.WAYS['discharge_pressure_reads_low']})")
    assert names.words(0, np.array([0.6, 0.1, 0.3])) == "no fault"


def _told(first: list[float], second: list[float]) -> list[str]:
    """Stretches of readings 0, 1, 2, … of two conditions with these masses."""
    joint = np.column_stack([first, second])
    values = np.arange(len(first), dtype=float)
    runs = settling._runs(joint, np.eye(2), values, lambda value: f"{value:.0f}")
    assert np.concatenate([at for at, _ in runs]).tolist() == list(range(len(first)))
    return [where for _, where in runs]


def test_stretches_begin_where_another_condition_is_likeliest() -> None:
    assert _told([9, 9, 1, 1, 1], [1, 1, 9, 9, 9]) == ["below 2", "above 2"]


def test_an_unlikely_stretch_joins_its_heavier_neighbour() -> None:
    """3 of 103 is less than 4 %: reading 2 goes to the heavier side, above."""
    assert _told([10, 10, 0, 0, 0], [0, 0, 3, 40, 40]) == ["below 2", "above 2"]
    first, second = [20.0, 20, 0, 0, 30, 30], [0.0, 0, 1, 2, 0, 0]
    assert _told(first, second) == _told([20, 20, 0.5, 1, 30, 30], [0, 0, 0.5, 1, 0, 0])


def test_the_far_tail_of_a_wide_distribution_is_not_told_beside_its_heavier_stretch() -> None:
    """The second condition is likeliest on both ends; only the heavier end is told."""
    assert _told([0, 20, 20, 0, 0], [6, 0, 0, 30, 24]) == ["below 3", "above 3"]


def test_one_condition_all_over_is_cut_where_it_is_most_unlike_likely() -> None:
    """A cut after reading 1: 0.9 below, 0.6 above. A cut elsewhere mixes the two."""
    assert _told([9, 9, 6, 6], [1, 1, 4, 4]) == ["below 2", "above 2"]


def test_a_cut_leaves_four_per_cent_on_either_side() -> None:
    """Reading 0 would be the sharpest cut, but has 2 of 102 parts."""
    first = np.array([2.0, 45.0, 45.0])
    second = np.array([0.0, 5.0, 5.0])
    joint = np.column_stack([first, second])
    mass = joint.sum(axis=1) / joint.sum()
    assert settling._best_split(joint, np.eye(2), mass) == 2


@pytest.mark.parametrize(
    ("unit", "sigma", "deviation", "said"),
    [
        ("K", 0.5, 2.96, "3.0 K"),
        ("K", 0.5, 3.04, "3 K"),
        ("K", 0.5, -2.96, "-3.0 K"),
        ("K", 1.0, 1.26, "1 K"),
        ("K", 0.5, -0.04, "0.0 K"),
        ("kPa", 5.0, -4.0, "0 kPa"),
    ],
)
def test_tenths_are_printed_of_small_and_sharp_readings_only(
    unit: str, sigma: float, deviation: float, said: str
) -> None:
    reading = Reading(do="", reads="", unit=unit, sigma=sigma)
    assert settling._printed(deviation, reading, 0.0) == said


def test_a_reading_that_is_not_of_a_finding_counts_from_zero() -> None:
    measured = tuple(logged(6.0, 5.0, 0.8, 1.0) for _ in settling._PLACES)
    zeros = {settling._zero(reading, measured) for reading in READINGS if reading.finding}
    assert zeros == {5.0}
    assert {settling._zero(it, measured) for it in READINGS if not it.finding} == {0.0}


def test_densities_stand_on_a_floor_over_four_spreads_either_side() -> None:
    """As in ``weigh``: a share of the mass lies evenly over all that can be read."""
    table = weigh.table()
    measured = tuple(logged(6.0, 5.0, 0.8, 1.0) for _ in settling._PLACES)
    nothing = np.zeros((1, 1))
    evidence = weigh.Evidence(measured, nothing, nothing, nothing)
    found = settling._predicted(evidence, table, np.array([0, 1, 2]))
    low = np.min(found.mean - 4.0 * found.spread, axis=1)
    high = np.max(found.mean + 4.0 * found.spread, axis=1)
    assert found.floor == pytest.approx(np.sqrt(2 * np.pi) * table.floor_share / (high - low))
