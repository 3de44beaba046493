"""Words of the ledger: which findings are given as reasons, and how strongly they speak."""

from __future__ import annotations

import pytest

from diagnostics.weighing import ledger, weigh
from diagnostics.weighing.ledger import WORDS, Entry
from diagnostics.weighing.weigh import CONDITIONS


def entry(phrase: str, measured: float | None = 1.0, **push: float) -> Entry:
    """A finding that pushes as given, and no other condition."""
    pushes = dict.fromkeys(CONDITIONS, 0.0) | push
    words = {"phrase": phrase, "unit": "K", "text": "", "source": "", "settle": ""}
    return Entry(
        finding=phrase,
        title=phrase,
        measured=measured,
        expected=0.0,
        uncertainty=1.0,
        hours=1.0,
        push=pushes,
        towards="overcharge",
        weight=1.0,
        **words,
    )


def line(*made: Entry, leading: str = "overcharge", way: str = "", also: str = "") -> str:
    return ledger.one_line(leading, way, made, 0.4, also)


def test_the_two_findings_that_speak_most_are_the_reasons() -> None:
    found = line(entry("a", overcharge=1.0), entry("b", overcharge=3.0), entry("c", overcharge=2.0))
    assert found == f"Suspicion of {WORDS['overcharge']}: b; c."


def test_a_finding_that_speaks_for_everything_is_no_reason() -> None:
    """Against the mean of the five others: 3 less 3 is nothing; 3 less 10/5 is 1."""
    other = {name: 3.0 for name in CONDITIONS if name != "overcharge"}
    assert line(entry("a", overcharge=3.0, **other)).startswith("Weak suspicion")
    found = line(entry("a", overcharge=3.0, undercharge=10.0))
    assert found == f"Suspicion of {WORDS['overcharge']}: a."


@pytest.mark.parametrize(("push", "reason"), [(0.19, False), (0.21, True), (1.0, True)])
def test_a_reason_moves_the_odds_by_a_fifth(push: float, reason: bool) -> None:
    assert line(entry("a", overcharge=push)).endswith(": a.") is reason


def test_what_was_not_measured_is_no_reason() -> None:
    found = line(entry("a", None, overcharge=5.0), entry("b", overcharge=1.0))
    assert found == f"Suspicion of {WORDS['overcharge']}: b."


def test_the_way_and_what_is_there_beside_are_said() -> None:
    found = line(entry("a", overcharge=1.0), way="slight", also="perhaps also x")
    assert found == f"Suspicion of {WORDS['overcharge']} (slight): a; perhaps also x."
    assert line(leading="normal") == "Nothing unusual."
    assert line(leading="normal", also="perhaps x") == "Nothing certain: perhaps x."
    assert line(leading="not_enough_data").startswith("Not enough data: 40% of the running time")


@pytest.mark.parametrize(
    ("weight", "said"),
    [
        (0.09, "says little either way"),
        (0.11, "speaks a little for"),
        (0.8, "speaks a little for"),
        (0.81, "speaks clearly for"),
        (2.0, "speaks clearly for"),
        (2.01, "speaks strongly for"),
    ],
)
def test_strength_in_words_goes_by_the_log_odds(weight: float, said: str) -> None:
    likelihood = weigh.table().likelihoods["upstream_subcooling"]
    way = weigh.table().hypotheses.index("valve_stuck_open")
    text = ledger._text(weight, way, likelihood)
    assert text.startswith(said)
    if weight > 0.1:
        assert f"{WORDS['subcooler_valve_fault']} ({ledger.WAYS['valve_stuck_open']})" in text
