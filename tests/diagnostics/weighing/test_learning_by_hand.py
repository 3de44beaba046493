"""What visits teach, by sums done by hand on a table of two findings."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
import pytest

from diagnostics.weighing import learning
from diagnostics.weighing.learning import Outcome, Result
from diagnostics.weighing.weigh import CONDITIONS, Likelihood, Weights

PRIOR = np.array([0.5, 0.1, 0.1, 0.1, 0.1, 0.1])
SIX = np.ones(6)
TABLE = Weights(
    hypotheses=CONDITIONS,
    condition=np.arange(6),
    prior=np.log(PRIOR),
    rho=0.4,
    exponent=1.0,
    floor_share=0.01,
    likelihoods={
        name: Likelihood(name, np.zeros(6), SIX, SIX, 40.0, 1800.0, {}) for name in ("a", "b")
    },
)
EVEN = dict(zip(CONDITIONS, PRIOR.tolist(), strict=True))


def visit(
    number: int,
    suspected: str = "overcharge",
    result: Result = Result.CONFIRMED,
    found: str = "",
    push: Mapping[str, Mapping[str, float]] | None = None,
) -> Outcome:
    """Each to its own system by its own visitor."""
    return Outcome(
        f"v{number:03}", f"s{number}", f"t{number}", suspected, result, found, push or {}, EVEN
    )


def kinds(count: int) -> list[Outcome]:
    """As unlike as may be: five suspicions by three results."""
    results = (Result.CONFIRMED, Result.NOTHING_FOUND, Result.OTHER_CAUSE)
    return [visit(i, CONDITIONS[1 + i % 5], results[i // 5 % 3]) for i in range(count)]


def test_reports_that_share_nothing_count_in_full() -> None:
    assert learning._counted(kinds(15)).tolist() == [1.0] * 15


def test_a_system_counts_as_two_reports_at_most() -> None:
    """Two, and three that come to two."""
    made = kinds(15)
    shared = [replace(it, system="one") for it in made[:2]]
    shared += [replace(it, system="two") for it in made[2:5]] + made[5:]
    assert learning._counted(shared) == pytest.approx([1.0] * 2 + [2 / 3] * 3 + [1.0] * 10)


def test_a_visitor_counts_as_five_or_a_quarter_of_all() -> None:
    """Of fifteen six count as five; of forty ten are a quarter, and eleven count as ten."""
    for count, own, share in ((15, 5, 1.0), (15, 6, 5 / 6), (40, 10, 1.0), (40, 11, 10 / 11)):
        made = kinds(count)
        shared = [replace(it, visitor="one") for it in made[:own]] + made[own:]
        assert learning._counted(shared)[:own] == pytest.approx([share] * own)


def test_reports_of_one_suspicion_and_one_result_count_as_five() -> None:
    alike = [visit(i) for i in range(8)]
    assert learning._counted(alike) == pytest.approx([5 / 8] * 8)
    # The same result of two suspicions is two kinds.
    mixed = [visit(i, CONDITIONS[1 + i % 2], Result.NOTHING_FOUND) for i in range(8)]
    assert learning._counted(mixed).tolist() == [1.0] * 8


def loss(visits: list[Outcome], shift: list[float], factor: list[float]) -> float:
    return learning._loss(np.array([*shift, *factor]), learning._arrays(visits, ("a", "b"), TABLE))[
        0
    ]


NO_SHIFT, NO_FACTOR = [0.0] * 5, [1.0, 1.0]
ENTROPY = -100.0 * float(PRIOR @ np.log(PRIOR))
"""A hundred visits' worth of the table's own priors."""


@pytest.mark.parametrize(
    ("result", "found", "likely"),
    [
        # One in twenty, in ten, in four says nothing: then each allowed condition is a sixth.
        (Result.CONFIRMED, "", 0.95 * 0.1 + 0.05 / 6),
        (Result.OTHER_CAUSE, "sensor_fault", 0.9 * 0.1 + 0.1 / 6),
        (Result.OTHER_CAUSE, "", 0.9 * 0.9 + 0.1 * 5 / 6),
        (Result.NOTHING_FOUND, "", 0.75 * 0.5 + 0.25 / 6),
    ],
)
def test_a_report_is_as_likely_as_what_it_found_or_nothing(
    result: Result, found: str, likely: float
) -> None:
    one = [visit(0, result=result, found=found)]
    assert loss(one, NO_SHIFT, NO_FACTOR) == pytest.approx(ENTROPY - np.log(likely), rel=1e-6)


def test_priors_and_factors_are_held_near_the_table() -> None:
    """A factor of 1.24 is two spreads of 0.12 away, 0.88 one; log-odds of 0.5 more for one fault
    make its share 0.1 e^0.5 over 0.9 + 0.1 e^0.5."""
    assert loss([], NO_SHIFT, [1.24, 0.88]) == pytest.approx(ENTROPY + 0.5 * (4.0 + 1.0))
    moved = PRIOR * np.array([1.0, np.exp(0.5), 1.0, 1.0, 1.0, 1.0])
    moved /= moved.sum()
    expected = -100.0 * float(PRIOR @ np.log(moved))
    assert loss([], [0.5, 0.0, 0.0, 0.0, 0.0], NO_FACTOR) == pytest.approx(expected)


def test_a_factor_moves_what_was_said_by_its_finding_s_push() -> None:
    """Half as much again of a push of 2 is 1 more: odds 0.1 e against 0.9."""
    push = {"a": {"overcharge": 2.0}}
    likely = 0.95 * 0.1 * np.e / (0.9 + 0.1 * np.e) + 0.05 / 6
    found = loss([visit(0, push=push)], NO_SHIFT, [1.5, 1.0])
    held = 0.5 * (0.5 / 0.12) ** 2
    assert found == pytest.approx(ENTROPY + held - np.log(likely), rel=1e-6)


@pytest.mark.parametrize(
    ("right", "wrong", "factor", "said"),
    [
        (0, 0, 1.0, "no visit has tested it"),
        (3, 1, 1.03, "spoke for what was found in 3 of 4 visits: counts more"),
        (3, 1, 1.01, "spoke for what was found in 3 of 4 visits: counts as in the table"),
        (3, 1, 0.99, "spoke for what was found in 3 of 4 visits: counts as in the table"),
        (
            3,
            1,
            0.97,
            "spoke for what was found in 3 of 4 visits and was surer than that: counts less",
        ),
        (2, 2, 0.97, "spoke for what was found in 2 of 4 visits: counts less"),
        (0, 4, 0.5, "spoke for what was found in 0 of 4 visits: counts less"),
    ],
)
def test_a_reason_tells_the_record_and_what_came_of_it(
    right: int, wrong: int, factor: float, said: str
) -> None:
    assert learning._reason(right, wrong, factor) == said


@pytest.mark.parametrize(
    ("push", "right", "wrong"),
    [(0.11, 1, 0), (0.09, 0, 0), (-0.09, 0, 0), (-0.11, 0, 1)],
)
def test_a_finding_spoke_where_it_moved_the_found_against_the_rest(
    push: float, right: int, wrong: int
) -> None:
    """By more than a tenth, against the mean of the five others."""
    made = learning.learn([visit(0, push={"a": {"overcharge": push}})], TABLE)
    line = next(each for each in made.findings if each.finding == "a")
    assert (line.right, line.wrong) == (right, wrong)


def test_the_others_speak_by_their_mean() -> None:
    """0.3 for what was found; 1.0 and 0.2 for two of the five others: 0.3 - 0.24 says little."""
    push = {"a": {"overcharge": 0.3, "undercharge": 1.0, "sensor_fault": 0.2}}
    made = learning.learn([visit(0, push=push)], TABLE)
    assert {(each.right, each.wrong) for each in made.findings} == {(0, 0)}
    # Where any but the suspected will do, those five speak by their mean: 0.24 - 0.9.
    push["a"] = push["a"] | {"overcharge": 0.9}
    made = learning.learn([visit(0, result=Result.OTHER_CAUSE, push=push)], TABLE)
    line = next(each for each in made.findings if each.finding == "a")
    assert (line.right, line.wrong) == (0, 1)


def test_lines_go_from_the_most_moved_to_the_least_and_then_by_name() -> None:
    push = {"b": {"overcharge": 2.0}}
    made = learning.learn([visit(i, push=push) for i in range(5)], TABLE)
    assert [line.finding for line in made.findings] == ["b", "a"]
    still = learning.learn([visit(0)], TABLE)
    assert [line.finding for line in still.findings] == ["a", "b"]


def test_what_was_said_is_the_mean_probability_of_what_was_found() -> None:
    """A tenth, half, and nine tenths where anything but the suspected will do."""
    made = learning.learn(
        [
            visit(0),
            visit(1, result=Result.NOTHING_FOUND),
            visit(2, result=Result.OTHER_CAUSE),
        ],
        TABLE,
    )
    assert made.said == pytest.approx((0.1 + 0.5 + 0.9) / 3)
    assert made.outcomes == 3
    lines = {line.condition: line for line in made.priors}
    assert (lines["overcharge"].suspected, lines["overcharge"].found) == (3, 1)
    assert (lines["normal"].suspected, lines["normal"].found) == (0, 1)
    # What would be said now: the same by the learned priors, as nothing pushes.
    now = [lines[name].learned for name in CONDITIONS]
    assert made.would_say == pytest.approx((now[1] + now[0] + 1.0 - now[1]) / 3, abs=2e-3)


def test_factors_stay_between_half_and_half_as_much_again() -> None:
    """However often a finding is right, or wrong; and odds within twice of the table's."""
    for sign, factor in ((1.0, 1.5), (-1.0, 0.5)):
        push = {"a": {"overcharge": 0.8 * sign}}
        many = [visit(i, push=push) for i in range(3000)]
        made = learning.learn(many, TABLE)
        assert made.factors["a"] == factor
    lines = {line.condition: line for line in made.priors}
    odds = {name: line.learned / lines["normal"].learned for name, line in lines.items()}
    assert odds["overcharge"] == pytest.approx(2 * 0.1 / 0.5, rel=2e-3)
    assert min(odds.values()) >= 0.5 * 0.1 / 0.5 * 0.998


def test_a_name_is_sixty_four_bits_in_hexadecimal() -> None:
    """As it stands in stored verdicts; a made-up one of twenty would have them all judged again."""
    made = learning.learn([visit(i) for i in range(4)], TABLE)
    assert len(made.name) * 4 == 64
    assert int(made.name, 16) >= 0
    assert learning.learn([], TABLE).name == ""
    assert learning.apply(TABLE, made).taught == made.name


def test_what_was_not_said_of_a_condition_was_as_good_as_impossible() -> None:
    bare = replace(visit(0), probabilities={})
    assert learning.learn([bare], TABLE).said == 0.0
    assert learning._arrays([bare], ("a", "b"), TABLE).said == pytest.approx(
        np.full((1, 6), np.log(1e-9))
    )
    assert learning._arrays([visit(0)], ("a", "b"), TABLE).said[0] == pytest.approx(
        np.log(PRIOR), abs=1e-7
    )


def test_factors_are_learned_to_a_hundredth_and_log_odds_to_a_thousandth() -> None:
    """A change too small to matter must not have a fleet judged again."""
    made = learning.learn([visit(i, push={"a": {"overcharge": 1.0}}) for i in range(7)], TABLE)
    factor = made.factors["a"]
    assert factor > 1.0
    assert factor == round(factor, 2)
    lines = {line.condition: line for line in made.priors}
    shift = np.log(lines["overcharge"].learned / lines["normal"].learned / 0.2)
    assert shift == pytest.approx(round(shift, 3), abs=1e-9)
    assert shift > 0.0
