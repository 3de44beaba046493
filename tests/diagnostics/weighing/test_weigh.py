"""Evidence is put together by the rules the module states."""

from __future__ import annotations

import copy
import tomllib
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from diagnostics.findings import REGISTRY, Context, Measured
from diagnostics.weighing import weigh
from diagnostics.weighing.weigh import Likelihood
from tests.diagnostics.rows import plant, windows

CONTEXT = Context(plant())


def _raw() -> dict[str, Any]:
    path = Path(weigh.__file__).with_name("weights.toml")
    return tomllib.loads(path.read_text(encoding="utf-8"))


def test_a_condition_is_as_probable_as_its_ways_together() -> None:
    weights = weigh.table()
    rows = windows(2, contradiction=3.5, pure_s=36_000.0, subcooling_to_indoor_k=14.0)
    evidence = weigh.weigh(rows, CONTEXT, weights)
    for i, condition in enumerate(weigh.CONDITIONS):
        ways = [h for h, of in enumerate(weights.condition) if of == i]
        assert ways, condition
        np.testing.assert_allclose(
            evidence.shares[:, ways].sum(axis=1), evidence.probabilities[:, i]
        )
    assert weights.hypotheses[int(evidence.shares[0].argmax())] == "liquid_thermistors_swapped"


def test_every_finding_has_weights_and_every_likelihood_a_reason() -> None:
    weights = weigh.table()
    for finding in REGISTRY:
        likelihood = weights.likelihoods[finding.name]
        assert likelihood.spread.min() > 0, finding.name
        assert all(reason for reason in likelihood.reasons.values()), finding.name


def test_a_finding_without_weights_is_named() -> None:
    raw = _raw()
    del raw["finding"]["line_flow"]
    with pytest.raises(weigh.WeightsError, match="line_flow"):
        weigh.parse(raw)


def test_a_misspelt_condition_is_named() -> None:
    raw = _raw()
    raw["finding"]["line_flow"]["overcharged"] = {"mean": 0.0, "spread": 1.0}
    with pytest.raises(weigh.WeightsError, match=r"line_flow has unknown keys \['overcharged'\]"):
        weigh.parse(raw)


def test_a_missing_number_is_named_with_its_place() -> None:
    raw = copy.deepcopy(_raw())
    raw["prior"]["undercharge"] = "some"
    with pytest.raises(weigh.WeightsError, match=r"prior\.undercharge must be a number"):
        weigh.parse(raw)


def test_a_condition_left_out_of_the_priors_is_refused() -> None:
    raw = _raw()
    del raw["prior"]["undercharge"]
    with pytest.raises(weigh.WeightsError, match="prior needs exactly the conditions"):
        weigh.parse(raw)


@pytest.mark.parametrize("entry", [3.0, {"overcharge": {"mean": 1.0, "spread": 1.0}}])
def test_a_finding_that_does_not_say_what_is_normal_is_refused(entry: object) -> None:
    raw = _raw()
    raw["finding"]["line_flow"] = entry
    with pytest.raises(weigh.WeightsError, match="line_flow must give at least normal"):
        weigh.parse(raw)


@given(st.floats(-20, 40), st.floats(-20, 60), st.floats(0, 1))
def test_probabilities_sum_to_one_whatever_was_measured(
    subcooling: float, superheat: float, saturated: float
) -> None:
    rows = windows(
        3,
        subcooling_to_indoor_k=subcooling,
        suction_superheat_k=superheat,
        saturated_share=saturated,
    )
    shares = weigh.weigh(rows, CONTEXT, weigh.table()).probabilities
    assert shares.shape == (3, len(weigh.CONDITIONS))
    np.testing.assert_allclose(shares.sum(axis=1), 1.0)
    assert shares.min() >= 0.0


def test_rows_without_data_leave_the_prior() -> None:
    rows = windows(
        1,
        **dict.fromkeys(("to_indoor_s", "loaded_s", "cooling_s", "pure_s", "tracking_s"), 0.0),
        running_s=0.0,
    )
    evidence = weigh.weigh(rows, CONTEXT, weigh.table())
    np.testing.assert_allclose(evidence.shares[0], np.exp(weigh.table().prior), atol=1e-12)
    assert not evidence.push.any()


def test_the_posterior_is_the_prior_times_the_pushes() -> None:
    rows = windows(1, subcooling_to_indoor_k=12.0, discharge_superheat_k=18.0)
    evidence = weigh.weigh(rows, CONTEXT, weigh.table())
    odds = np.exp(weigh.table().prior + evidence.push.sum(axis=0)[0])
    np.testing.assert_allclose(evidence.shares[0], odds / odds.sum())


def test_more_hours_of_the_same_count_more_but_not_without_end() -> None:
    def suspicion(hours: float) -> float:
        rows = windows(1, subcooling_to_indoor_k=12.0, to_indoor_s=hours * 3600.0)
        return float(1.0 - weigh.weigh(rows, CONTEXT, weigh.table()).probabilities[0, 0])

    few, some, many, endless = (suspicion(hours) for hours in (0.1, 1.0, 50.0, 5000.0))
    assert few < some < many
    assert endless - many < 0.02


def test_a_second_witness_of_a_family_counts_less_than_alone() -> None:
    def push(**features: float) -> float:
        nothing = dict.fromkeys(
            ("subcooling_to_indoor_k", "saturated_share", "evaporating_error_k"), np.nan
        ) | {"suction_superheat_k": np.nan, "discharge_superheat_k": np.nan}
        evidence = weigh.weigh(windows(1, **nothing | features), CONTEXT, weigh.table())
        marked = weigh.table().hypotheses.index("undercharge_marked")
        return float(evidence.push.sum(axis=0)[0, marked])

    first = push(suction_superheat_k=16.0)
    second = push(discharge_superheat_k=52.0)
    together = push(suction_superheat_k=16.0, discharge_superheat_k=52.0)
    assert max(first, second) < together < first + second


def test_one_absurd_number_cannot_decide_alone() -> None:
    rows = windows(1, subcooling_to_indoor_k=400.0, to_indoor_s=1e9)
    push = weigh.weigh(rows, CONTEXT, weigh.table()).push
    assert np.abs(push).max() < 6.0


def _one(value: float, sigma: float, seconds: float = 1800.0) -> Measured:
    """One row of a finding that expects 0."""
    columns = (np.array([number]) for number in (value, 0.0, sigma, seconds))
    return Measured(*columns)


TWO = Likelihood(
    "alone", np.array([0.0, 2.0]), np.array([0.6, 0.6]), np.array([1.0, 0.5]), 40.0, 1800.0, {}
)
"""Normal at 0, the other hypothesis at 2 where it shows, which it does in half of the systems."""


def test_a_likelihood_is_a_bell_on_a_floor_where_the_hypothesis_shows() -> None:
    """Spread 0.6 and sigma 0.8 make 1. At 2: densities 0.05399 and (0.05399 + 0.39894) / 2, each
    times 0.99, with 0.01 / 40 below."""
    weights = replace(weigh.table(), floor_share=0.01)
    found = weigh._ratio(_one(2.0, 0.8), TWO, weights)
    normal, other = 0.0539910, (0.0539910 + 0.3989423) / 2
    expected = np.log((0.99 * other + 2.5e-4) / (0.99 * normal + 2.5e-4))
    assert found == pytest.approx(np.array([[0.0, expected]]), abs=1e-5)


@pytest.mark.parametrize(("value", "sigma"), [(np.nan, 0.8), (2.0, np.nan), (np.inf, 0.8)])
def test_what_was_not_measured_pushes_nothing(value: float, sigma: float) -> None:
    assert weigh._ratio(_one(value, sigma), TWO, weigh.table()).tolist() == [[0.0, 0.0]]
    assert weigh._trust(_one(value, sigma), TWO).tolist() == [0.0]


@pytest.mark.parametrize(("seconds", "trust"), [(0.0, 0.0), (1800.0, 0.5), (5400.0, 0.75)])
def test_a_finding_counts_half_after_its_half_time(seconds: float, trust: float) -> None:
    assert weigh._trust(_one(1.0, 0.8, seconds), TWO) == pytest.approx([trust])


def test_only_the_strongest_witness_of_a_family_counts_in_full() -> None:
    """Two of one family, hypothesis by hypothesis, and one alone; 0.4 in common."""
    said = np.array([[[3.0, -1.0]], [[-2.0, -4.0]], [[1.0, 1.0]]])
    family = [replace(TWO, family=name) for name in ("a", "a", "b")]
    found = weigh._shared(said, family, 0.4)
    expected = np.array([[[3.0, -0.6]], [[-1.2, -4.0]], [[1.0, 1.0]]])
    assert found == pytest.approx(expected)


def test_the_table_is_read_once() -> None:
    assert weigh.table() is weigh.table()


def test_a_hypothesis_shows_in_all_its_systems_and_reads_as_normal_unless_told() -> None:
    entry = {
        "family": "charge",
        "span": 40.0,
        "half_s": 900.0,
        "normal": {"mean": 1.0, "spread": 2.0, "reason": "a"},
        "overcharge": {"mean": 4.0, "spread": 3.0, "share": 0.6},
        "undercharge": {"mean": -4.0, "spread": 1.5},
    }
    found = weigh._likelihood("it", entry, weigh.CONDITIONS)
    assert found.mean.tolist() == [1.0, 4.0, -4.0, 1.0, 1.0, 1.0]
    assert found.spread.tolist() == [2.0, 3.0, 1.5, 2.0, 2.0, 2.0]
    assert found.share.tolist() == [1.0, 0.6, 1.0, 1.0, 1.0, 1.0]
    assert (found.family, found.span, found.half_s) == ("charge", 40.0, 900.0)
    assert found.reasons == {"normal": "a", "overcharge": "", "undercharge": ""}


def test_priors_of_ways_are_parts_of_a_whole() -> None:
    """Three and one of a condition, four of the rest, each over eight."""
    raw = _raw()
    raw["prior"] = dict.fromkeys(weigh.CONDITIONS, 0.8) | {
        "normal": 1.0,
        "overcharge": {"overcharge_slight": 3.0, "overcharge_marked": 1.0},
        "undercharge": {"undercharge_slight": 0.1, "undercharge_marked": 0.5},
    }
    raw["finding"] = {
        name: {key: entry[key] for key in ("family", "span", "half_s", "normal")}
        for name, entry in raw["finding"].items()
    }
    found = weigh.parse(raw)
    assert found.hypotheses[:5] == (
        "normal",
        "overcharge_slight",
        "overcharge_marked",
        "undercharge_slight",
        "undercharge_marked",
    )
    assert found.condition.tolist() == [0, 1, 1, 2, 2, 3, 4, 5]
    expected = np.array([1.0, 3.0, 1.0, 0.1, 0.5, 0.8, 0.8, 0.8]) / 8.0
    assert np.exp(found.prior) == pytest.approx(expected)
    assert (found.taught, dict(found.factors)) == ("", {})
