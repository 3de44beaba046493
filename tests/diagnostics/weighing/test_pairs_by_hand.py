"""Two faults in one finding: how their shifts, spreads and shares are put together."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from diagnostics.findings import REGISTRY, Measured
from diagnostics.samples import FloatArray
from diagnostics.weighing import pairs, weigh
from diagnostics.weighing.weigh import CONDITIONS, Likelihood, Weights

ONES = np.ones(6)


def entry(
    mean: tuple[float, ...] = (0.0,) * 6,
    spread: tuple[float, ...] = (1.0,) * 6,
    share: tuple[float, ...] = (1.0,) * 6,
    family: str = "",
) -> Likelihood:
    return Likelihood(family, np.array(mean), np.array(spread), np.array(share), 1e9, 1e-6, {})


def table(**entries: Likelihood) -> Weights:
    """One hypothesis a condition; a floor so thin that plain normal distributions are left."""
    silent = {f.name: entry(family=f.name) for f in REGISTRY}
    prior = np.array([0.9, 0.02, 0.02, 0.02, 0.02, 0.02])
    return Weights(CONDITIONS, np.arange(6), np.log(prior), 0.4, 1.0, 1e-9, silent | entries)


def seen(**deviations: float) -> tuple[Measured, ...]:
    return tuple(
        Measured(
            np.array([deviations.get(f.name, np.nan)]), np.zeros(1), np.zeros(1), np.array([900.0])
        )
        for f in REGISTRY
    )


def made(measured: tuple[Measured, ...], weights: Weights) -> dict[tuple[str, str], pairs.Pair]:
    return {(p.first, p.second): p for p in pairs.compare(measured, weights)}


def test_faults_of_two_conditions_that_can_be_together_are_paired() -> None:
    """Ten pairs of five conditions, less too much with too little."""
    weights = table()
    assert len(pairs._ways(weights)) == 9
    names = {tuple(CONDITIONS[i] for i in way) for way in pairs._ways(weights)}
    assert ("overcharge", "undercharge") not in names
    assert ("overcharge", "sensor_fault") in names
    assert all("normal" not in way for way in names)
    # Two ways of one condition are no pair.
    two_ways = replace(
        weights, condition=np.array([0, 1, 1, 3, 4, 5]), hypotheses=("n", "a", "b", "c", "d", "e")
    )
    assert len(pairs._ways(two_ways)) == 9
    assert [1, 2] not in pairs._ways(two_ways).tolist()


@pytest.mark.parametrize(
    ("first", "second", "mean", "variance"),
    [
        # Shifts add, and so do the variances that each adds to the normal 4.
        ((3.0, 3.0), (-1.0, 2.5), 2.0 - 0.5, 9.0 + 6.25 - 4.0),
        # A fault that narrows: no narrower than the narrower of both.
        ((3.0, 1.0), (-1.0, 1.5), 2.0 - 0.5, 1.0),
        ((3.0, 2.0), (0.5, 2.0), 3.0, 4.0),
    ],
)
def test_both_faults_shift_and_widen_what_either_does(
    first: tuple[float, float], second: tuple[float, float], mean: float, variance: float
) -> None:
    """Normal is 0.5 -/+ 2."""
    of = entry((0.5, first[0], second[0]), (2.0, first[1], second[1]), (1.0, 1.0, 1.0))
    found = pairs._extended(of, np.array([[1, 2]]))
    assert found.mean[3:] == pytest.approx([mean, first[0], second[0], 0.5])
    expected = [variance, first[1] ** 2, second[1] ** 2, 4.0]
    assert found.spread[3:] ** 2 == pytest.approx(expected)
    assert found.share[3:].tolist() == [1.0] * 4


def density(x: float, mean: float, variance: float) -> float:
    return float(np.exp(-0.5 * (x - mean) ** 2 / variance) / np.sqrt(variance))


def test_a_pair_mixes_both_either_and_neither_by_their_shares() -> None:
    """0.8 of overcharge shows, 0.3 of sensor faults; what is seen is 2.5."""
    name = REGISTRY[0].name
    of = entry(
        (0.0, 3.0, 0.0, 0.0, 0.0, -1.0), (1.0, 1.5, 1.0, 1.0, 1.0, 2.0), (1, 0.8, 1, 1, 1, 0.3)
    )
    weights = table(**{name: of})
    pair = made(seen(**{name: 2.5}), weights)["overcharge", "sensor_fault"]
    mixed = (
        0.8 * 0.3 * density(2.5, 2.0, 2.25 + 4.0 - 1.0)
        + 0.8 * 0.7 * density(2.5, 3.0, 2.25)
        + 0.2 * 0.3 * density(2.5, -1.0, 4.0)
        + 0.2 * 0.7 * density(2.5, 0.0, 1.0)
    )
    normal = density(2.5, 0.0, 1.0)
    both = 2 * np.log(0.02) - np.log(0.9) + np.log(mixed / normal)
    alone = np.log(0.02) + np.log(0.8 * density(2.5, 3.0, 2.25) / normal + 0.2)
    assert pair.instead == "normal"
    assert alone < np.log(0.9)
    assert pair.advantage == pytest.approx(both - np.log(0.9), rel=1e-6)


def test_a_fault_that_does_not_show_leaves_a_finding_to_the_other() -> None:
    """Overcharge says 8 - 2 = 6 of the first finding, a wrong sensor as much of the second."""
    one, other = (finding.name for finding in REGISTRY[:2])
    weights = table(
        **{
            one: entry((0.0, 4.0, 0.0, 0.0, 0.0, 0.0), family="one"),
            other: entry((0.0, 0.0, 0.0, 0.0, 0.0, 4.0), family="other"),
        }
    )
    measured = seen(**{one: 4.0, other: 4.0})
    pair = made(measured, weights)["overcharge", "sensor_fault"]
    # Each alone: ln 0.02 + 8; both: 2 ln 0.02 - ln 0.9 + 16.
    assert pair.advantage == pytest.approx(np.log(0.02 / 0.9) + 8.0, rel=1e-4)
    assert pair.instead in {"overcharge", "sensor_fault"}
    assert (pair.first_findings, pair.second_findings) == ((one,), (other,))
    assert len(pair.first_phrases) == len(pair.second_phrases) == 1
    assert pairs.two_at_once(measured, weights) == pair
    assert pairs.compare(measured, weights)[0] == pair
    # Neither explains a pair without the other, so a pair of others is worth less than one.
    assert made(measured, weights)["flow_restriction", "sensor_fault"].advantage < 0.0


def test_one_finding_may_need_both() -> None:
    """Nine off is seven from either alone, and five from both together: 24.5 against 12.5."""
    name = REGISTRY[0].name
    of = entry((0.0, 2.0, 0.0, 0.0, 0.0, 2.0))
    measured = seen(**{name: 9.0})
    best = pairs.compare(measured, table(**{name: of}))[0]
    assert {best.first, best.second} == {"overcharge", "sensor_fault"}
    assert best.clear
    assert best.first_findings == best.second_findings == (name,)


def test_only_the_first_row_is_looked_at() -> None:
    """Days stand below the whole."""
    name = REGISTRY[0].name
    weights = table(**{name: entry((0.0, 4.0, 0.0, 0.0, 0.0, 0.0))})
    rows = tuple(
        Measured(
            *(np.concatenate([x, 9.0 + x]) for x in (m.value, m.expected, m.sigma)),
            np.array([900.0, 900.0]),
        )
        for m in seen(**{name: 1.0})
    )
    assert pairs.compare(rows, weights)[0].advantage == pytest.approx(
        pairs.compare(seen(**{name: 1.0}), weights)[0].advantage
    )


def best_of(score: FloatArray, condition: list[int]) -> tuple[str, float]:
    weights = replace(table(), condition=np.array(condition))
    return pairs._best_condition(score, weights)


def test_the_best_condition_has_all_its_ways_together() -> None:
    """Two ways of 0.3 are 0.6 and more than one of 0.5."""
    score = np.log(np.array([0.1, 0.3, 0.3, 0.5, 1e-9, 1e-9, 1e-9, 1e-9]))
    name, value = best_of(score, [0, 1, 1, 2, 3, 4, 5, 5])
    assert (name, value) == ("overcharge", pytest.approx(np.log(0.6)))


def test_the_family_rule_holds_for_a_pair() -> None:
    """Two findings of one family that say 8 each: the second counts six tenths of it."""
    one, other = (finding.name for finding in REGISTRY[:2])
    of = entry((0.0, 4.0, 0.0, 0.0, 0.0, 0.0), family="same")
    weights = table(**{one: of, other: of})
    said = pairs._weighed(seen(**{one: 4.0, other: 4.0}), weights)
    place = said.ways.tolist().index([1, 5])
    assert said.both[:, place].sum() == pytest.approx(8.0 * 1.6, rel=1e-4)
    assert said.single[:, 1].sum() == pytest.approx(8.0 * 1.6, rel=1e-4)
    assert weigh.table().rho < 1.0
