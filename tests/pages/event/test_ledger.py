"""The ledger's lines: what comes first, and what stands beside it."""

from __future__ import annotations

import pytest

from diagnostics.findings import REGISTRY
from fleet.pages.event import ledger
from fleet.pages.units import Preference
from tests.pages.scene import ENTRY


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
