"""From which number on a verdict says what it says, and what a line of the ledger holds."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from diagnostics import verdict
from diagnostics.findings import REGISTRY, Finding, Measured
from diagnostics.verdict import NOT_ENOUGH_DATA
from diagnostics.weighing import ledger, weigh
from diagnostics.weighing.ledger import UNTOLD, WAYS, WORDS, Entry, _Stand
from diagnostics.weighing.weigh import CONDITIONS, Evidence
from tests.diagnostics.rows import START, joined, plant, windows

DAY = 96
TABLE = weigh.table()


@pytest.mark.parametrize(
    ("running_s", "judged_s", "enough"),
    [
        # A tenth of the running time, two hours of it, half an hour judged.
        (36_000.0, 3601.0, True),
        (36_000.0, 3599.0, False),
        (7200.0, 1800.0, True),
        (7199.0, 1800.0, False),
        (7200.0, 1799.0, False),
        (90_000.0, 9001.0, True),
    ],
)
def test_enough_is_a_tenth_of_two_hours_and_half_an_hour(
    running_s: float, judged_s: float, enough: bool
) -> None:
    rows = windows(1, running_s=running_s, judged_s=judged_s)
    assert verdict._coverage(rows) == (pytest.approx(judged_s / running_s), enough)


@pytest.mark.parametrize(
    ("faults", "leading"),
    [
        ((0.50, 0.30, 0.06, 0.0, 0.0), "overcharge"),
        ((0.50, 0.30, 0.04, 0.0, 0.0), "normal"),
        ((0.20, 0.30, 0.25, 0.05, 0.06), "undercharge"),
        ((0.0, 0.0, 0.0, 0.0, 0.9), "sensor_fault"),
        ((0.9, 0.0, 0.0, 0.0, 0.0), "overcharge"),
    ],
)
def test_a_fault_leads_where_any_is_as_likely_as_85_in_100(
    faults: tuple[float, ...], leading: str
) -> None:
    assert verdict._leading(np.array([1.0 - sum(faults), *faults])) == leading


def evidence(*probabilities: float) -> Evidence:
    rows = np.array([probabilities, [0.0, 0.0, 0.0, 0.0, 0.0, 1.0]])
    return Evidence((), np.zeros((0, 2, len(TABLE.hypotheses))), rows, rows)


@pytest.mark.parametrize(
    ("normal", "said"), [(0.71, ""), (0.69, "perhaps too little refrigerant"), (0.2, None)]
)
def test_normal_leans_to_a_fault_from_three_in_ten(normal: float, said: str | None) -> None:
    rest = 1.0 - normal
    of = evidence(normal, 0.2 * rest, 0.5 * rest, 0.1 * rest, 0.1 * rest, 0.1 * rest)
    expected = "perhaps too little refrigerant" if said is None else said
    assert verdict._also("normal", of, TABLE) == ("", expected)
    assert verdict._also(NOT_ENOUGH_DATA, of, TABLE) == ("", "")


@pytest.mark.parametrize(
    ("superheat_k", "urgent"), [(7.9, True), (8.1, False), (-2.0, True), (np.nan, False)]
)
def test_a_discharge_superheat_below_eight_kelvin_is_urgent(
    superheat_k: float, urgent: bool
) -> None:
    """Common practice, no source: gas so near its dew point may carry drops."""
    assert verdict._urgent(windows(1, discharge_superheat_k=superheat_k)) is urgent


def test_seven_days_are_ranked_and_the_eighth_is_not() -> None:
    """The first of eight is not judged and the second neither: six of seven are."""
    at = START + np.timedelta64(8, "D")
    rows = joined(windows(2 * DAY, judged_s=0.0), windows(6 * DAY, 2 * DAY))
    assert verdict.judge(rows, plant(), at).coverage == pytest.approx(6 / 7)
    # A window that starts at the moment judged is not part of what came before.
    more = joined(rows, windows(1, 8 * DAY, judged_s=0.0))
    assert verdict.judge(more, plant(), at).coverage == pytest.approx(6 / 7)


def test_without_data_the_score_is_that_of_the_prior() -> None:
    """Seven tenths of the probability of a fault, in parts of a hundred."""
    at = START + np.timedelta64(8, "D")
    found = verdict.judge(windows(0), plant(), at)
    prior = np.exp(TABLE.prior)
    faults = float(prior[TABLE.condition > 0].sum() / prior.sum())
    assert found.score == pytest.approx(70.0 * faults)
    assert found.conditions["normal"] == pytest.approx(1.0 - faults)
    assert (found.coverage, found.baseline_days, found.ledger, found.settle) == (0.0, 0, (), ())
    assert not found.urgent
    assert found.plain == pytest.approx(found.conditions)


def test_days_that_did_not_look_normal_are_not_learned_from() -> None:
    """Ten wet and starved days, then twelve healthy ones, of which a week is too young."""
    sick = {"subcooling_to_indoor_k": -0.1, "saturated_share": 0.9, "suction_superheat_k": 15.0}
    rows = joined(windows(10 * DAY, **sick), windows(13 * DAY, 10 * DAY))
    learned = verdict.baseline(rows, plant())
    assert learned is not None
    assert learned.days == 5


def finding(name: str) -> Finding:
    return next(each for each in REGISTRY if each.name == name)


def measured(value: float, expected: float, sigma: float, seconds: float) -> Measured:
    """The row that is judged, and below it a day's, which is not told of."""
    return Measured(*(np.array([x, 77.0]) for x in (value, expected, sigma, seconds)))


def stand(*probabilities: float) -> _Stand:
    """The first way of every condition."""
    firsts = [int(np.flatnonzero(TABLE.condition == i)[0]) for i in range(6)]
    return _Stand(np.array(firsts), np.array(probabilities))


EVEN = stand(*[1 / 6] * 6)


def line(push: tuple[float, ...], at: _Stand = EVEN, seconds: float = 5400.0) -> Entry:
    of = measured(9.0, 5.0, 0.7, seconds)
    return ledger._entry(finding("upstream_subcooling"), of, np.array(push), at)


def test_a_line_holds_what_was_measured_and_how_it_pushes() -> None:
    found = line((0.0, 1.5, -0.5, 0.2, 0.1, 0.3))
    assert (found.measured, found.expected, found.uncertainty) == (9.0, 5.0, 0.7)
    assert found.hours == 1.5
    assert found.push == dict(zip(CONDITIONS, (0.0, 1.5, -0.5, 0.2, 0.1, 0.3), strict=True))
    assert (found.towards, found.weight, found.factor) == ("overcharge", 1.5, 1.0)
    way = WAYS[TABLE.hypotheses[int(EVEN.ways[1])]]
    assert found.text.startswith(f"speaks clearly for {WORDS['overcharge']} ({way})")


def test_of_what_it_makes_likelier_a_finding_speaks_for_what_is_likely_in_the_end() -> None:
    """Twice the odds of a condition that is 20 times as likely weigh more than e times."""
    push = (0.0, 1.0, 0.7, 0.0, 0.0, 0.0)
    assert line(push).towards == "overcharge"
    likely = line(push, stand(0.02, 0.04, 0.8, 0.04, 0.05, 0.05))
    assert (likely.towards, likely.weight) == ("undercharge", 0.7)


def test_against_every_fault_a_finding_speaks_for_normal_by_their_mean() -> None:
    found = line((0.0, -1.0, -2.0, -0.5, -0.25, -0.25))
    assert (found.towards, found.weight) == ("normal", pytest.approx(0.8))
    # What is not likely at all is not spoken for, however little speaks against it.
    sure = line((0.0, 0.5, -2.0, -0.5, -0.25, -0.25), stand(1.0, 0.0, 0.0, 0.0, 0.0, 0.0))
    assert (sure.towards, sure.weight) == ("normal", pytest.approx(0.5))


@pytest.mark.parametrize(
    ("value", "seconds", "known"),
    [(9.0, 1.0, True), (9.0, 0.0, False), (np.nan, 900.0, False), (np.inf, 900.0, False)],
)
def test_what_has_no_number_or_no_seconds_behind_it_is_untold(
    value: float, seconds: float, known: bool
) -> None:
    of = measured(value, 5.0, 0.7, seconds)
    push = np.array([0.0, 1.5, 0.0, 0.0, 0.0, 0.0])
    found = ledger._entry(finding("upstream_subcooling"), of, push, EVEN)
    assert (found.text == UNTOLD) is not known
    assert (found.measured is None) is not known
    assert (found.expected is None) is not known
    assert (found.uncertainty is None) is not known
    assert found.weight == (1.5 if known else 0.0)
    assert bool(found.phrase) is known


def test_logarithms_are_shown_as_ratios() -> None:
    of = measured(np.log(0.5), np.log(1.0), 0.2, 900.0)
    found = ledger._entry(finding("line_flow"), of, np.zeros(6), EVEN)
    assert (found.measured, found.expected) == pytest.approx((0.5, 1.0))


def test_lines_are_told_strongest_first_and_untold_ones_last() -> None:
    """Three are measured; the weights of the others are not looked at. All conditions are as
    likely."""
    known = {"suction_superheat": 0.4, "upstream_subcooling": -2.0, "saturated_liquid": 1.1}
    size = len(TABLE.hypotheses)
    push = np.zeros((len(REGISTRY), 2, size))
    push[:, 1] = 50.0
    all_measured = []
    for place, each in enumerate(REGISTRY):
        there = each.name in known
        all_measured.append(measured(1.0 if there else np.nan, 0.0, 1.0, 900.0))
        sign = known.get(each.name, 5.0)
        push[place, 0, TABLE.condition == 1] = sign
        if sign < 0:
            push[place, 0, TABLE.condition > 0] = sign
    ways = np.bincount(TABLE.condition)[TABLE.condition]
    shares = np.stack([1.0 / (6.0 * ways), np.eye(size)[-1]])
    made = ledger.entries(
        Evidence(tuple(all_measured), push, shares, weigh.together(shares, TABLE)),
        {"saturated_liquid": 0.6},
    )
    assert [each.finding for each in made[:3]] == [
        "upstream_subcooling",
        "saturated_liquid",
        "suction_superheat",
    ]
    assert [each.factor for each in made[:3]] == [1.0, 0.6, 1.0]
    assert [each.towards for each in made[:3]] == ["normal", "overcharge", "overcharge"]
    assert [each.weight for each in made[:3]] == pytest.approx([2.0, 1.1, 0.4])
    assert all(each.measured is None and each.weight == 0.0 for each in made[3:])
    assert len(made) == len(REGISTRY)


def test_a_condition_speaks_through_its_likeliest_way() -> None:
    shares = np.zeros((2, len(TABLE.hypotheses)))
    shares[1] = 1.0 / np.arange(1, len(TABLE.hypotheses) + 1)
    at = TABLE.hypotheses.index
    for name, share in (
        ("normal", 0.3),
        ("overcharge_slight", 0.1),
        ("overcharge_marked", 0.2),
        ("valve_leaks", 0.3),
        ("valve_hunts", 0.1),
    ):
        shares[0, at(name)] = share
    of = replace(evidence(*[0.0] * 6), shares=shares)
    ways = ledger.likeliest_ways(of)
    assert [TABLE.hypotheses[i] for i in ways[[0, 1, 4]]] == [
        "normal",
        "overcharge_marked",
        "valve_leaks",
    ]
    assert ledger.way(of, "overcharge") == WAYS["overcharge_marked"]
    assert ledger.way(of, "subcooler_valve_fault") == WAYS["valve_leaks"]
    assert ledger.way(of, "normal") == ""
