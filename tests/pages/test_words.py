"""Words for verdicts, ages and shares."""

from __future__ import annotations

import math
from datetime import UTC, datetime, timedelta

import pytest

from diagnostics.weighing.weigh import CONDITIONS
from fleet.pages import words
from fleet.pages.event import advice


def test_every_condition_has_words_and_every_fault_has_advice() -> None:
    assert set(CONDITIONS) | {"not_enough_data"} <= set(words.SUSPICIONS)
    assert advice.conditions() == set(CONDITIONS) - {"normal"}
    for condition in advice.conditions():
        assert len(advice.advice(condition).checks) >= 3
        assert advice.advice(condition).bring


@pytest.mark.parametrize(
    ("why", "shown"),
    [
        ("Suspicion of too much refrigerant (marked): superheat 1 K.", "Superheat 1 K."),
        ("Suspicion of a restriction in the liquid line: speed low.", "Speed low."),
        (
            "Suspicion of a faulty sensor (the two liquid thermistors swapped): no direction.",
            "The two liquid thermistors swapped: no direction.",
        ),
        ("Suspicion of a faulty subcooler valve (stuck open): cools.", "Stuck open: cools."),
        ("Nothing unusual.", "Nothing unusual."),
    ],
)
def test_a_line_of_why_keeps_which_sensor_it_is(why: str, shown: str) -> None:
    assert words.reasons(why) == shown


@pytest.mark.parametrize(
    ("factor", "shown"),
    [
        (1.1, "says little"),
        (2.44, "2.4\u00a0times likelier"),
        (1 / 2.44, "2.4\u00a0times less likely"),
        (54.0, "50\u00a0times likelier"),
        (97.0, "100\u00a0times likelier"),
        (237.0, "over 100\u00a0times likelier"),
        (1e9, "over 100\u00a0times likelier"),
        (1e-9, "over 100\u00a0times less likely"),
    ],
)
def test_a_push_is_said_in_no_more_digits_than_it_is_known(factor: float, shown: str) -> None:
    assert words.push(math.log(factor)) == shown


@pytest.mark.parametrize(
    ("leading", "probability", "urgent", "events", "expected"),
    [
        ("overcharge", 0.5, False, False, words.ACT),
        ("overcharge", 0.4, False, True, words.WATCH),
        ("normal", 0.9, False, False, words.QUIET),
        ("normal", 0.9, False, True, words.WATCH),
        ("normal", 0.6, False, False, words.WATCH),
        ("normal", 0.9, True, False, words.ACT),
        ("not_enough_data", 0.9, True, True, words.BLIND),
    ],
)
def test_attention_is_asked_for_by_suspicion_risk_or_an_open_event(
    leading: str, probability: float, urgent: bool, events: bool, expected: words.Attention
) -> None:
    found = words.attention(leading, probability, urgent=urgent, open_events=events)
    assert found is expected


@pytest.mark.parametrize(
    ("share", "shown"),
    [(0.864, "86\u00a0%"), (0.998, "99\u00a0%"), (1.0, "100\u00a0%"), (0.001, "under 1\u00a0%")],
)
def test_certainty_is_never_rounded_up_to_all_or_nothing(share: float, shown: str) -> None:
    assert words.percent(share) == shown


def test_ages_are_told_in_one_unit() -> None:
    now = datetime(2026, 3, 5, tzinfo=UTC)
    assert words.ago(None, now) == "never"
    assert words.ago(now - timedelta(minutes=7), now) == "7 min ago"
    assert words.ago(now - timedelta(hours=1, minutes=59), now) == "1 hour ago"
    assert words.ago(now - timedelta(days=3), now) == "3 days ago"
    assert words.ago(now + timedelta(minutes=2), now) == "0 min ago"
