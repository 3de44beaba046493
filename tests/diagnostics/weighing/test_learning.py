"""Outcomes of visits move priors and weights a little, readably, and can be taken back."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from diagnostics import pooling
from diagnostics.findings import REGISTRY, Context
from diagnostics.samples import FloatArray
from diagnostics.weighing import learning, ledger, weigh
from diagnostics.weighing.learning import Learned, Outcome, Result
from diagnostics.weighing.weigh import CONDITIONS, Evidence, Likelihood, Weights
from tests.diagnostics.rows import plant, windows

NAMES = tuple(f"finding_{i}" for i in range(6))
PRIOR = np.array([0.6, 0.1, 0.12, 0.05, 0.06, 0.07])
MEAN = np.array(
    [
        [0.0, 2.5, -2.0, 0.0, 0.0, 0.0],
        [0.0, 0.0, 2.0, 2.0, 0.0, 0.0],
        [0.0, 1.5, 0.0, 0.0, 0.0, 2.5],
        [0.0, 0.0, 0.0, -2.0, 2.5, 0.0],
        [0.0, 0.0, 0.0, 2.0, 0.0, -2.0],
        [0.0, 0.0, 2.0, 0.0, 2.0, 0.0],
    ]
)
"""Made-up findings of unit spread; each moves under two conditions."""
SIX = np.ones(len(CONDITIONS))
TABLE = Weights(
    hypotheses=CONDITIONS,
    condition=np.arange(len(CONDITIONS)),
    prior=np.log(PRIOR),
    rho=0.4,
    exponent=1.0,
    floor_share=0.01,
    likelihoods={
        name: Likelihood("alone", mean, SIX, SIX, 40.0, 1800.0, {})
        for name, mean in zip(NAMES, MEAN, strict=True)
    },
)

TEXTBOOK: Mapping[str, Mapping[str, float]] = {
    "overcharge": {
        "subcooling_to_indoor_k": 13.0,
        "suction_superheat_k": 1.0,
        "discharge_superheat_k": 16.0,
    },
    "undercharge": {
        "subcooling_to_indoor_k": -0.1,
        "saturated_share": 0.8,
        "suction_superheat_k": 14.0,
        "discharge_superheat_k": 50.0,
    },
    "flow_restriction": {
        "subcooling_to_indoor_k": 8.0,
        "suction_superheat_k": 7.0,
        "discharge_superheat_k": 33.0,
        "evaporating_error_k": -2.0,
        "high_demand_s": 400.0,
        "indoor_valve_share": 0.8,
    },
    "subcooler_valve_fault": {
        "closed_s": 500.0,
        "drop_closed_k": 9.0,
        "leak_sigma_k": 0.3,
        "flow_s": 500.0,
        "flow_log_ratio": -1.3,
        "suction_superheat_k": 0.5,
    },
    "sensor_fault": {
        "standstill_s": 500.0,
        "standstill_difference_pa": 190e3,
        "standstill_discharge_k": 6.0,
        "subcooling_to_indoor_k": 9.2,
        "discharge_superheat_k": 23.0,
        "condensing_over_coil_k": 7.2,
    },
}


@dataclass(frozen=True)
class World:
    """How systems really are: the table may be wrong about priors and about spreads."""

    prior: FloatArray
    spread: FloatArray

    def visited(self, rng: np.random.Generator, count: int) -> tuple[FloatArray, FloatArray]:
        """Pushes (n, findings, 6) and true conditions (n,) of systems the table would suspect."""
        truth = rng.choice(len(CONDITIONS), size=20 * count, p=self.prior)
        seen = MEAN[:, truth].T + self.spread * rng.normal(size=(truth.size, len(NAMES)))
        push = seen[:, :, None] * MEAN - 0.5 * MEAN**2
        suspected = _told(push, np.log(PRIOR), np.ones(len(NAMES)))[:, 0] < 0.4
        return push[suspected][:count], truth[suspected][:count]


def _told(push: FloatArray, log_prior: FloatArray, factor: FloatArray) -> FloatArray:
    logit = log_prior + np.einsum("f,nfc->nc", factor, push)
    odds = np.exp(logit - logit.max(axis=1, keepdims=True))
    return np.asarray(odds / odds.sum(axis=1, keepdims=True))


def log_loss(push: FloatArray, truth: FloatArray, learned: Learned | None) -> float:
    """Mean negative log-probability of the truth, with or without what was learned."""
    factor, prior = np.ones(len(NAMES)), np.log(PRIOR)
    if learned is not None:
        factor = np.array([learned.factors[name] for name in NAMES])
        prior = np.log([line.learned for line in learned.priors])
    told = _told(push, prior, factor)
    return float(-np.log(told[np.arange(len(truth)), truth]).mean())


def reported(rng: np.random.Generator, push: FloatArray, truth: FloatArray) -> list[Outcome]:
    """What visitors report; one report in twenty misses what is there."""
    told = _told(push, np.log(PRIOR), np.ones(len(NAMES)))
    found = np.where(rng.random(len(truth)) < 0.05, 0, truth)
    return [
        outcome(
            i,
            CONDITIONS[1 + int(np.argmax(told[i, 1:]))],
            CONDITIONS[found[i]],
            {
                name: dict(zip(CONDITIONS, said, strict=True))
                for name, said in zip(NAMES, push[i].tolist(), strict=True)
            },
            told[i],
        )
        for i in range(len(truth))
    ]


def outcome(
    number: int,
    suspected: str,
    found: str,
    push: Mapping[str, Mapping[str, float]],
    told: FloatArray | None = None,
) -> Outcome:
    """A visit to its own system, by one of seven people, that found ``found``."""
    if told is None:
        sums = [sum(said.get(name, 0.0) for said in push.values()) for name in CONDITIONS]
        odds = PRIOR * np.exp(sums)
        told = odds / odds.sum()
    if found == "normal":
        result, cause = Result.NOTHING_FOUND, ""
    else:
        result = Result.CONFIRMED if found == suspected else Result.OTHER_CAUSE
        cause = "" if found == suspected else found
    return Outcome(
        key=f"v{number:03}",
        system=f"s{number}",
        visitor=f"t{number % 7}",
        suspected=suspected,
        result=result,
        found=cause,
        push=push,
        probabilities=dict(zip(CONDITIONS, told.tolist(), strict=True)),
    )


def gain(world: World, visits: int, seeds: Sequence[int]) -> list[float]:
    """Log-loss saved on 400 further suspected systems, by seed."""
    saved = []
    for seed in seeds:
        rng = np.random.default_rng(seed)
        learned = learning.learn(reported(rng, *world.visited(rng, visits)), TABLE)
        push, truth = world.visited(rng, 400)
        saved.append(log_loss(push, truth, None) - log_loss(push, truth, learned))
    return saved


SURE = np.ones(len(NAMES))
NOISY = np.where(np.arange(len(NAMES)) < 2, 2.0, 1.0)
OTHER_PRIOR = np.array([0.7, 0.04, 0.05, 0.05, 0.04, 0.12])


@pytest.mark.parametrize(
    "world",
    [World(PRIOR, NOISY), World(OTHER_PRIOR, NOISY), World(PRIOR, 1.5 * SURE)],
    ids=["two findings too sure", "priors wrong as well", "all findings too sure"],
)
def test_sixty_visits_help_where_the_table_is_wrong(world: World) -> None:
    saved = gain(world, 60, range(8))
    assert np.mean(saved) > 0.05
    assert min(saved) > 0.0


def test_wrong_priors_alone_are_learned_slowly() -> None:
    assert np.mean(gain(World(OTHER_PRIOR, SURE), 150, range(8))) > 0.0


def test_where_the_table_is_right_learning_costs_next_to_nothing() -> None:
    """Also shows that visiting only suspected systems does not bias what is learned."""
    assert np.mean(gain(World(PRIOR, SURE), 150, range(8))) > -0.01


def test_few_visits_move_little() -> None:
    rng = np.random.default_rng(5)
    learned = learning.learn(reported(rng, *World(PRIOR, SURE).visited(rng, 5)), TABLE)
    assert all(abs(line.factor - 1.0) < 0.15 for line in learned.findings)
    assert all(abs(line.learned - line.table) < 0.03 for line in learned.priors)


def test_no_visit_changes_nothing() -> None:
    learned = learning.learn([], TABLE)
    assert set(learned.factors.values()) == {1.0}
    np.testing.assert_allclose([line.learned for line in learned.priors], PRIOR, atol=1e-12)
    assert {line.reason for line in learned.findings} == {"no visit has tested it"}
    assert np.isnan(learned.said)


SOME = reported(
    np.random.default_rng(1), *World(OTHER_PRIOR, NOISY).visited(np.random.default_rng(2), 30)
)


@settings(max_examples=15, deadline=None)
@given(st.permutations(SOME))
def test_the_order_of_outcomes_does_not_matter(order: list[Outcome]) -> None:
    assert learning.learn(order, TABLE) == learning.learn(SOME, TABLE)


def test_leaving_an_outcome_out_undoes_it() -> None:
    before = learning.learn(SOME[:-1], TABLE)
    assert learning.learn(SOME, TABLE) != before
    assert learning.learn([o for o in SOME if o.key != SOME[-1].key], TABLE) == before


def test_an_outcome_given_twice_is_refused() -> None:
    with pytest.raises(ValueError, match="v000; give each visit once"):
        learning.learn([SOME[0], *SOME], TABLE)


def test_an_unknown_condition_is_named() -> None:
    with pytest.raises(ValueError, match="v007: 'gremlins' is none of normal, overcharge"):
        outcome(7, "overcharge", "gremlins", {})


def test_without_evidence_the_prior_is_the_dirichlet_s() -> None:
    """Four reports of overcharge, one of undercharge, on 0.1 and 0.12 worth 100 visits.

    By hand (10 + 4) / 105 and (12 + 1) / 105; the doubt of one in twenty takes a little off.
    """
    reports = [outcome(i, "overcharge", "overcharge", {}) for i in range(4)]
    reports.append(outcome(4, "undercharge", "undercharge", {}))
    priors = {line.condition: line for line in learning.learn(reports, TABLE).priors}
    assert priors["overcharge"].learned == pytest.approx(14.0 / 105.0, abs=0.004)
    assert priors["undercharge"].learned == pytest.approx(13.0 / 105.0, abs=0.004)
    assert (priors["overcharge"].suspected, priors["overcharge"].found) == (4, 4)


def test_everything_stays_within_its_bounds() -> None:
    push = {NAMES[0]: dict.fromkeys(CONDITIONS, 0.0) | {"overcharge": 1.5}}
    reports = [outcome(i, "overcharge", "sensor_fault", push) for i in range(2000)]
    learned = learning.learn(reports, TABLE)
    low, high = learning.FACTOR_BOUNDS
    assert learned.factors[NAMES[0]] == low
    assert all(low <= factor <= high for factor in learned.factors.values())
    odds = {line.condition: line.learned / line.table for line in learned.priors}
    assert odds["sensor_fault"] / odds["normal"] == pytest.approx(
        learning.PRIOR_ODDS_BOUND, rel=1e-3
    )


def test_the_table_counts_right_and_wrong_and_says_why() -> None:
    def said(name: str) -> dict[str, dict[str, float]]:
        return {NAMES[0]: dict.fromkeys(CONDITIONS, 0.0) | {name: 2.0}}

    others = ("normal", *CONDITIONS[2:])
    reports = [outcome(i, "overcharge", "overcharge", said("overcharge")) for i in range(10)]
    reports += [outcome(i, "overcharge", others[i % 5], said("overcharge")) for i in range(10, 60)]
    line = learning.learn(reports, TABLE).findings[0]
    assert (line.finding, line.right, line.wrong) == (NAMES[0], 10, 50)
    assert line.factor < 0.95
    assert line.reason == "spoke for what was found in 10 of 60 visits: counts less"


def test_another_cause_of_no_name_speaks_against_the_suspicion_only() -> None:
    unnamed = replace(
        outcome(0, "overcharge", "overcharge", {}), result=Result.OTHER_CAUSE, found=""
    )
    assert set(unnamed.truth) == set(CONDITIONS) - {"overcharge"}
    reports = [replace(unnamed, key=f"u{i}", system=f"u{i}") for i in range(10)]
    learned = {line.condition: line for line in learning.learn(reports, TABLE).priors}
    assert learned["overcharge"].learned < learned["overcharge"].table
    assert all(line.found == 0 for line in learned.values())


@pytest.mark.parametrize("shared", ["system", "visitor"])
def test_one_system_or_one_visitor_counts_only_so_much(shared: str) -> None:
    """The most that twenty reports may weigh: 2 of one system, 5 of one person."""

    def moved(reports: list[Outcome]) -> float:
        line = learning.learn(reports, TABLE).priors[0]
        return line.learned - line.table

    kinds = CONDITIONS[1:]
    apart = [
        replace(outcome(i, kinds[i % 5], "normal", {}), visitor=f"t{i % 5}") for i in range(20)
    ]
    together = [replace(report, **{shared: "same"}) for report in apart]
    share = {"system": 2.0, "visitor": 5.0}[shared] / 20.0
    assert moved(together) == pytest.approx(share * moved(apart), rel=0.2)


def test_reports_of_one_kind_count_only_so_much() -> None:
    """Twenty like surprises count as five, twenty different ones as twenty."""
    alike = [outcome(i, "overcharge", "normal", {}) for i in range(20)]
    mixed = [outcome(i, CONDITIONS[1 + i % 5], "normal", {}) for i in range(20)]
    same, other = (learning.learn(reports, TABLE).priors[0] for reports in (alike, mixed))
    assert 0.0 < same.learned - same.table < 0.4 * (other.learned - other.table)


def evidence_of(features: Mapping[str, float], weights: Weights | None = None) -> Evidence:
    """What the real findings say of a week of like windows, by the real table unless told."""
    row = pooling.pool(windows(672, **features))
    return weigh.weigh(row, Context(plant()), weights or weigh.table())


def leading(features: Mapping[str, float], learned: Learned | None = None) -> str:
    """The likeliest condition, with or without what was learned."""
    weights = learning.apply(weigh.table(), learned) if learned else None
    return CONDITIONS[int(evidence_of(features, weights).probabilities[0].argmax())]


@pytest.mark.parametrize("suspected", TEXTBOOK)
def test_twenty_wrong_outcomes_leave_the_textbook_patterns_diagnosed(suspected: str) -> None:
    """The same pattern is wrongly reported as the same other thing, twenty times in a row."""
    assert {name: leading(features) for name, features in TEXTBOOK.items()} == {
        name: name for name in TEXTBOOK
    }
    said = evidence_of(TEXTBOOK[suspected])
    push = {entry.finding: entry.push for entry in ledger.entries(said)}
    for found in ("normal", *(name for name in TEXTBOOK if name != suspected)):
        reports = [outcome(i, suspected, found, push, said.probabilities[0]) for i in range(20)]
        learned = learning.learn(reports, weigh.table())
        assert {name: leading(features, learned) for name, features in TEXTBOOK.items()} == {
            name: name for name in TEXTBOOK
        }, found


def test_a_factor_scales_what_its_finding_says_and_nothing_else() -> None:
    plain = evidence_of(TEXTBOOK["undercharge"])
    first = REGISTRY[0].name
    halved = evidence_of(TEXTBOOK["undercharge"], replace(weigh.table(), factors={first: 0.5}))
    np.testing.assert_allclose(halved.push[0], 0.5 * plain.push[0])
    np.testing.assert_allclose(halved.push[1:], plain.push[1:])
    undercharge = CONDITIONS.index("undercharge")
    assert halved.probabilities[0, undercharge] < plain.probabilities[0, undercharge]


def test_what_was_learned_survives_storage() -> None:
    for learned in (learning.learn(SOME, TABLE), learning.learn([], TABLE)):
        stored = json.loads(json.dumps(learned.as_json(), allow_nan=False))
        assert Learned.from_json(stored).as_json() == learned.as_json()


def test_weights_have_a_name_only_where_something_was_learned() -> None:
    assert learning.apply(TABLE, learning.learn([], TABLE)) is TABLE
    assert not learning.learn([], TABLE).name
    one, two = (learning.apply(TABLE, learning.learn(SOME[:n], TABLE)) for n in (20, 30))
    assert len({TABLE.taught, one.taught, two.taught}) == 3
    assert learning.learn(SOME[::-1], TABLE).name == two.taught


def test_the_gradient_is_that_of_the_loss() -> None:
    rng = np.random.default_rng(3)
    visits = learning._arrays(SOME, NAMES, TABLE)
    at = np.concatenate([0.3 * rng.normal(size=5), 1.0 + 0.2 * rng.normal(size=len(NAMES))])
    _, gradient = learning._loss(at, visits)
    for i in range(at.size):
        step = np.where(np.arange(at.size) == i, 1e-6, 0.0)
        rise = learning._loss(at + step, visits)[0] - learning._loss(at - step, visits)[0]
        assert gradient[i] == pytest.approx(rise / 2e-6, rel=1e-4, abs=1e-5)


def test_ways_of_one_condition_keep_their_proportions() -> None:
    table = weigh.table()
    reports = [outcome(i, "overcharge", "sensor_fault", {}) for i in range(5)]
    applied = learning.apply(table, learning.learn(reports, table))
    moved = applied.prior - table.prior
    sensors = moved[table.condition == CONDITIONS.index("sensor_fault")]
    np.testing.assert_allclose(sensors, sensors[0])
    assert sensors[0] > 0.0
    assert np.exp(applied.prior).sum() == pytest.approx(1.0)


def test_the_digest_names_the_outcomes_and_the_table() -> None:
    one = learning.digest(SOME, TABLE)
    assert learning.digest(reversed(SOME), TABLE) == one
    assert learning.digest(SOME[1:], TABLE) != one
    assert learning.digest(SOME, replace(TABLE, prior=np.log(OTHER_PRIOR))) != one
