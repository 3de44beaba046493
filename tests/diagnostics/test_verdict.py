"""Verdicts: what they say of healthy, sick and silent systems."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest

from diagnostics import verdict
from diagnostics.verdict import NOT_ENOUGH_DATA, Verdict
from diagnostics.weighing import ledger, weigh
from diagnostics.weighing.weigh import CONDITIONS, Weights
from diagnostics.windows import empty
from tests.diagnostics.rows import START, joined, plant, windows

DAY = 96
WEEK = 7 * DAY


def _at(days: int) -> np.datetime64:
    return START + np.timedelta64(days, "D")


def test_a_healthy_week_is_called_normal() -> None:
    judged = verdict.judge(windows(WEEK), plant(), _at(7))
    assert judged.leading == "normal"
    assert judged.conditions["normal"] > 0.8
    assert judged.score < 10
    assert judged.coverage == pytest.approx(1.0)
    assert sum(judged.conditions.values()) == pytest.approx(1.0)


@pytest.mark.parametrize(
    ("features", "condition"),
    [
        (
            {
                "subcooling_to_indoor_k": 13.0,
                "suction_superheat_k": 1.0,
                "discharge_superheat_k": 16.0,
            },
            "overcharge",
        ),
        (
            {
                "subcooling_to_indoor_k": -0.1,
                "saturated_share": 0.8,
                "suction_superheat_k": 14.0,
                "discharge_superheat_k": 50.0,
            },
            "undercharge",
        ),
        (
            {
                "subcooling_to_indoor_k": 10.0,
                "suction_superheat_k": 14.0,
                "discharge_superheat_k": 50.0,
                "evaporating_error_k": -4.0,
            },
            "flow_restriction",
        ),
        (
            {
                "closed_s": 500.0,
                "drop_closed_k": 9.0,
                "leak_sigma_k": 0.3,
                "flow_s": 500.0,
                "flow_log_ratio": -1.0,
                "suction_superheat_k": 2.0,
            },
            "subcooler_valve_fault",
        ),
        (
            {
                "standstill_s": 500.0,
                "standstill_difference_pa": 190e3,
                "standstill_discharge_k": 6.0,
                "subcooling_to_indoor_k": 9.2,
                "discharge_superheat_k": 23.0,
                "condensing_over_coil_k": 7.2,
            },
            "sensor_fault",
        ),
    ],
)
def test_each_textbook_pattern_is_called_by_its_name(
    features: dict[str, float], condition: str
) -> None:
    judged = verdict.judge(windows(WEEK, **features), plant(), _at(7))
    assert judged.leading == condition, judged.conditions
    assert judged.score > 40
    assert judged.why.startswith("Suspicion of")


def test_a_wrong_transducer_explains_a_high_subcooling_away() -> None:
    high = {"subcooling_to_indoor_k": 12.0}
    alone = verdict.judge(windows(WEEK, **high), plant(), _at(7))
    shown = verdict.judge(
        windows(WEEK, **high, standstill_s=300.0, standstill_difference_pa=200e3), plant(), _at(7)
    )
    assert shown.conditions["overcharge"] < alone.conditions["overcharge"] / 2
    assert shown.leading == "sensor_fault"


def test_silence_is_not_health() -> None:
    judged = verdict.judge(empty(), plant(), _at(7))
    assert judged.leading == NOT_ENOUGH_DATA
    assert judged.score > verdict.judge(windows(WEEK), plant(), _at(7)).score
    assert judged.coverage == 0.0


def test_running_time_that_could_not_be_judged_lowers_the_coverage() -> None:
    rows = windows(WEEK, judged_s=45.0)
    judged = verdict.judge(rows, plant(), _at(7))
    assert judged.coverage == pytest.approx(0.05)
    assert judged.leading == NOT_ENOUGH_DATA
    assert "5%" in judged.why


def test_what_comes_after_the_moment_judged_does_not_count() -> None:
    later = windows(WEEK, WEEK, subcooling_to_indoor_k=15.0, discharge_superheat_k=10.0)
    both = verdict.judge(joined(windows(WEEK), later), plant(), _at(7))
    assert both == verdict.judge(windows(WEEK), plant(), _at(7))


def test_a_slow_leak_shows_against_the_system_s_own_past() -> None:
    weeks = [windows(WEEK, i * WEEK, subcooling_to_indoor_k=6.5) for i in range(4)]
    leaking = [*weeks, windows(WEEK, 4 * WEEK, subcooling_to_indoor_k=3.0)]
    with_past = verdict.judge(joined(*leaking), plant(), _at(35))
    without = verdict.judge(leaking[-1], plant(), _at(35))
    assert with_past.baseline_days >= 14
    assert with_past.conditions["undercharge"] > 2 * without.conditions["undercharge"]


def test_wet_discharge_gas_is_urgent_whatever_the_charge() -> None:
    assert verdict.judge(windows(WEEK, discharge_superheat_k=3.0), plant(), _at(7)).urgent
    assert not verdict.judge(windows(WEEK), plant(), _at(7)).urgent


def test_a_verdict_survives_storage() -> None:
    judged = verdict.judge(windows(WEEK, subcooling_to_indoor_k=12.0), plant(), _at(7))
    stored = json.loads(json.dumps(judged.as_json()))
    assert Verdict.from_json(stored).as_json() == judged.as_json()


def test_the_ledger_states_what_was_measured_and_puts_the_strongest_first() -> None:
    judged = verdict.judge(windows(WEEK, subcooling_to_indoor_k=13.0), plant(), _at(7))
    first = judged.ledger[0]
    assert (first.finding, first.measured, first.expected) == ("upstream_subcooling", 13.0, 5.0)
    assert "too much refrigerant" in first.text
    weights = [abs(entry.weight) for entry in judged.ledger if entry.measured is not None]
    assert weights == sorted(weights, reverse=True)
    unknown = [entry for entry in judged.ledger if entry.measured is None]
    assert unknown
    assert {entry.text for entry in unknown} == {"could not be told from this data"}


def test_an_open_question_names_the_reading_that_would_settle_it() -> None:
    judged = verdict.judge(windows(WEEK, subcooling_to_indoor_k=10.0), plant(), _at(7))
    assert judged.settle
    assert judged.settle[0].do
    assert judged.settle[0].then > judged.settle[0].now


MASKED = {
    "subcooling_to_indoor_k": 4.0,
    "suction_superheat_k": 14.0,
    "discharge_superheat_k": 40.0,
    "evaporating_error_k": -4.5,
    "condensing_over_coil_k": 9.5,
    "high_demand_s": 400.0,
    "indoor_valve_share": 0.62,
    "standstill_s": 500.0,
    "standstill_difference_pa": 210e3,
    "standstill_discharge_k": 6.8,
}
"""Too little refrigerant behind a discharge transducer that reads high."""


def test_two_conditions_at_once_are_said_in_the_line_of_why() -> None:
    judged = verdict.judge(windows(WEEK, **MASKED), plant(), _at(7))
    assert {judged.leading, judged.also} == {"undercharge", "sensor_fault"}
    assert f"; perhaps also {ledger.WORDS[judged.also]} (" in judged.why
    assert len(judged.why) <= 300


def test_one_condition_has_no_second() -> None:
    rows = windows(
        WEEK, subcooling_to_indoor_k=13.0, suction_superheat_k=1.0, discharge_superheat_k=16.0
    )
    judged = verdict.judge(rows, plant(), _at(7))
    assert judged.leading == "overcharge"
    assert (judged.also, judged.also_text) == ("", "")


def _taught() -> Weights:
    """Weights that make little of the subcooling and much of overcharge."""
    table = weigh.table()
    prior = table.prior + 0.5 * (table.condition == CONDITIONS.index("overcharge"))
    factors = {"upstream_subcooling": 0.6, "discharge_superheat": 1.2}
    return replace(table, prior=prior, factors=factors, taught="name")


def test_a_verdict_by_other_weights_keeps_what_the_plain_table_says() -> None:
    rows = windows(WEEK, subcooling_to_indoor_k=11.0)
    plain, other = (verdict.judge(rows, plant(), _at(7), w) for w in (None, _taught()))
    assert plain.plain == plain.conditions
    assert other.plain == pytest.approx(plain.conditions)
    assert other.conditions["overcharge"] != pytest.approx(plain.conditions["overcharge"], abs=0.01)
    assert (plain.taught, other.taught) == ("", "name")
    of = {entry.finding: entry for entry in other.ledger}
    assert of["upstream_subcooling"].factor == 0.6
    before = {entry.finding: entry for entry in plain.ledger}["upstream_subcooling"]
    assert of["upstream_subcooling"].push["normal"] == before.push["normal"] == 0.0
    assert of["upstream_subcooling"].push["overcharge"] == pytest.approx(
        0.6 * before.push["overcharge"]
    )


def test_with_too_little_data_the_prior_is_that_of_the_weights() -> None:
    plain, other = (verdict.judge(empty(), plant(), _at(7), w) for w in (None, _taught()))
    assert other.conditions["overcharge"] > plain.conditions["overcharge"]
    assert other.plain == plain.conditions


def test_a_verdict_stored_before_visits_taught_anything_can_be_read() -> None:
    old = verdict.judge(windows(WEEK), plant(), _at(7)).as_json()
    for name in ("plain", "taught", "also", "also_text"):
        del old[name]
    old["settle"] = ["To tell both apart: weigh."]
    for entry in old["ledger"]:
        del entry["factor"]
    read = Verdict.from_json(json.loads(json.dumps(old)))
    assert read.settle[0].do == "To tell both apart: weigh."
    assert (read.taught, read.ledger[0].factor) == ("", 1.0)


def test_the_baseline_is_learned_from_the_first_three_weeks_of_a_long_past() -> None:
    """What comes later, however long, is not looked at."""
    past = joined(windows(21 * DAY), windows(80 * DAY, 21 * DAY, subcooling_to_indoor_k=9.0))
    learned = verdict.baseline(past, plant())
    assert learned is not None
    assert learned.days == 21
    assert learned.until == np.datetime64("2026-03-22", "D")
    expected, _ = learned.predict(windows(1))
    assert expected == pytest.approx(5.0, abs=0.1)


def test_days_of_the_last_week_are_not_learned_from() -> None:
    learned = verdict.baseline(windows(15 * DAY), plant())
    assert learned is not None
    assert learned.days == 7
    assert verdict.baseline(windows(10 * DAY), plant()) is None


def test_a_suspicion_without_any_clear_reason_is_called_weak() -> None:
    said = ledger.one_line("overcharge", "", (), 1.0)
    assert said == f"Weak suspicion of {ledger.WORDS['overcharge']}."


def _scored(normal: float, days: list[float], **features: float) -> float:
    """Score of a row that is ``normal`` so probable, over days that are."""
    rest = [(1.0 - p) / 5 for p in [normal, *days]]
    probabilities = np.array([[p, *[q] * 5] for p, q in zip([normal, *days], rest, strict=True)])
    return verdict._score(windows(1, **features), probabilities)


def test_a_score_is_seven_tenths_probability_and_four_parts_of_the_rest() -> None:
    """100 * 0.9 * (0.7 + 0.08 * 4 K / 8 K + 0.08 / 2 days + 0.07 * 1 K / 2 K)."""
    found = _scored(0.1, [0.2, 0.8], subcooling_to_indoor_k=9.0, shortfall_k=1.0)
    assert found == pytest.approx(90.0 * (0.7 + 0.04 + 0.04 + 0.035))
    low = _scored(0.1, [0.2, 0.8], subcooling_to_indoor_k=1.0, shortfall_k=1.0)
    assert low == pytest.approx(found)


def test_the_parts_of_a_score_have_their_ends() -> None:
    calm = {"subcooling_to_indoor_k": 5.0, "discharge_superheat_k": 30.0}
    least = _scored(0.5, [0.9, 0.5], shortfall_k=-3.0, **calm)
    assert least == pytest.approx(50.0 * 0.7)
    assert _scored(0.5, [0.9], shortfall_k=np.nan, **calm) == pytest.approx(35.0)
    worst = _scored(
        0.0, [0.1], shortfall_k=9.0, subcooling_to_indoor_k=30.0, discharge_superheat_k=1.0
    )
    assert worst == pytest.approx(100.0)


@pytest.mark.parametrize(
    ("running_s", "judged_s", "share"),
    [(36_000.0, 18_000.0, 0.5), (0.0, 0.0, 0.0), (np.nan, np.nan, 0.0)],
)
def test_coverage_is_the_share_of_running_time_that_was_judged(
    running_s: float, judged_s: float, share: float
) -> None:
    assert verdict._coverage(windows(1, running_s=running_s, judged_s=judged_s))[0] == share


def test_the_week_that_is_not_learned_from_ends_with_the_last_window() -> None:
    """One window of another day moves the week by a day."""
    just = verdict.baseline(windows(15 * DAY), plant())
    more = verdict.baseline(windows(15 * DAY + 1), plant())
    assert just is not None
    assert more is not None
    assert (just.days, more.days) == (7, 8)
