"""Words for verdicts, and the ledger's lines."""

from __future__ import annotations

import math
from datetime import UTC, datetime, timedelta

import pytest

from diagnostics.findings import REGISTRY
from diagnostics.weighing.weigh import CONDITIONS
from fleet.pages import words
from fleet.pages.event import advice, ledger
from fleet.pages.units import Preference
from tests.pages.scene import ENTRY


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
    ("spread", "unit", "prefer", "shown"),
    [
        (0.2, "K", Preference("degF"), "± 1\u00a0°F"),
        (0.8, "K", Preference("degF"), "± 1\u00a0°F"),
        (0.01, "K", Preference(), "± 0.1\u00a0K"),
        (0.001, "1", Preference(), "± 0.01"),
        (0.0, "K", Preference(), "± 0.0\u00a0K"),
    ],
)
def test_no_uncertainty_is_rounded_to_none(
    spread: float, unit: str, prefer: Preference, shown: str
) -> None:
    entry = {**ENTRY, "uncertainty": spread, "unit": unit}
    assert ledger.lines({"ledger": [entry]}, "overcharge", prefer)[0].uncertainty == shown


def test_wet_return_is_checked_before_anything_else() -> None:
    for condition in advice.conditions():
        calm, urgent = advice.advice(condition), advice.advice(condition, urgent=True)
        assert urgent.checks[1:] == calm.checks
        assert urgent.checks[0].finding == "discharge_superheat"
        assert "competent person on site" in urgent.checks[0].confirms


def test_what_is_brought_fits_the_refrigerants_class() -> None:
    for condition in advice.conditions():
        plain, flammable = (advice.advice(condition, it).bring for it in ("R-410A", "R-32"))
        assert any("Gloves and goggles" in it for it in plain)
        assert not any("flammable" in it for it in plain)
        assert set(flammable) > set(plain)
        assert any("Gas detector" in it for it in flammable)


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


def test_checks_point_at_findings_that_exist() -> None:
    known = {finding.name for finding in REGISTRY}
    listed = [advice.advice(code, urgent=True) for code in advice.conditions()]
    named = {check.finding for it in listed for check in it.checks}
    assert named - {""} <= known


def test_no_advice_orders_refrigerant_in_or_out() -> None:
    for condition in advice.conditions():
        for check in advice.advice(condition, urgent=True).checks:
            assert not {"add", "remove", "charge up", "vent"} & set(check.do.lower().split())


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


def test_the_ledger_puts_first_what_moves_the_suspicion_most() -> None:
    weak = ENTRY | {"title": "Weak", "push": {"overcharge": -0.4}}
    strong = ENTRY | {"title": "Strong", "push": {"overcharge": -3.0}}
    lines = ledger.lines({"ledger": [weak, ENTRY, strong]}, "overcharge", Preference())
    assert [line.title for line in lines] == ["Strong", ENTRY["title"], "Weak"]
    assert [line.push.way for line in lines] == ["against", "for", "against"]
    assert lines[0].push.text == "20\u00a0times less likely"


def test_a_sentence_about_another_condition_is_not_printed_beside_this_one() -> None:
    other = ENTRY | {"towards": "normal", "text": "speaks a little for normal"}
    (line,) = ledger.lines({"ledger": [other]}, "overcharge", Preference())
    assert line.text == ""


def test_shares_are_printed_as_per_cent() -> None:
    share = ENTRY | {"finding": "hunting_under_demand", "unit": "1", "measured": 0.9}
    (line,) = ledger.lines({"ledger": [share]}, "overcharge", Preference())
    assert line.measured == "90\u00a0%"
    assert {finding.name for finding in REGISTRY if finding.unit == "1"} >= ledger.SHARES


def test_a_ratios_uncertainty_is_relative() -> None:
    ratio = ENTRY | {"unit": "ratio", "measured": 0.045, "expected": 1.0, "uncertainty": 0.3}
    (line,) = ledger.lines({"ledger": [ratio]}, "overcharge", Preference())
    assert (line.measured, line.expected, line.uncertainty) == ("0.04", "1.00", "± 30\u00a0%")
