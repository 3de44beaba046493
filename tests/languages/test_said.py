"""What judging writes is known sentence by sentence, so that it can be said in German."""

from __future__ import annotations

import re
from collections.abc import Iterator

import numpy as np
import pytest
from django.utils import translation
from hypothesis import given
from hypothesis import strategies as st

from diagnostics import charge_sheet
from diagnostics.charge_sheet import Entered, LiquidState, Seen
from diagnostics.findings import REGISTRY
from diagnostics.verdict import Verdict
from diagnostics.weighing import ledger, onsite, pairs, weigh
from fleet import said
from tests.diagnostics import rows
from tests.languages.conftest import judged
from tests.languages.marked import outside

WEEKS: dict[str, dict[str, float]] = {
    "healthy": {},
    "too much": {"subcooling_to_indoor_k": 14.0},
    "too little": {"subcooling_to_indoor_k": 0.5, "saturated_share": 0.6},
    "a little too much": {"subcooling_to_indoor_k": 8.5},
    "a tracking sensor": {"outdoor_side_tracks_air": 0.9},
    "hot gas": {"discharge_superheat_k": 60.0, "suction_superheat_k": 20.0},
    "wet gas": {"discharge_superheat_k": 6.0, "suction_superheat_k": 0.2},
    "hardly running": {"judged_s": 9.0, "running_s": 900.0},
    "short rooms": {"shortfall_k": 3.0, "evaporating_error_k": 8.0},
}


def sentences(verdict: Verdict) -> Iterator[str]:
    """Everything a stored verdict says in words."""
    yield verdict.why
    yield from filter(None, (verdict.way, verdict.also_text))
    for entry in verdict.ledger:
        yield from (entry.title, entry.text, entry.source, entry.settle)
        if entry.phrase:
            yield entry.phrase
    for step in verdict.settle:
        yield from (step.do, *step.points)


def left(text: str) -> str:
    """Words of a text that come back as they were, in a German of marks."""
    return " ".join(re.findall(r"[^\W\d_]{3,}", outside(said.say(text))[0]))


@pytest.mark.parametrize("week", WEEKS)
def test_every_sentence_of_a_verdict_is_known(marks: None, week: str) -> None:
    verdict = judged(**WEEKS[week])
    with translation.override("de"):
        unknown = {text: rest for text in sentences(verdict) if (rest := left(text))}
    assert not unknown


def test_every_phrase_and_way_is_known_in_the_line_of_why(marks: None) -> None:
    made = [
        ledger.one_line(condition, way, (), 0.37, "perhaps also a faulty sensor")
        for condition in ledger.WORDS
        for way in ("", *ledger.WAYS.values())
    ]
    phrases = [it.phrase.format(measured=-1.25, expected=4.0) for it in REGISTRY]
    made += [f"Suspicion of too much refrigerant: {it}; {phrases[0]}." for it in phrases]
    made += [f"perhaps also too much refrigerant ({it})" for it in phrases]
    with translation.override("de"):
        assert not {text: left(text) for text in made if left(text)}


def test_two_conditions_at_once_are_known(marks: None) -> None:
    pair = pairs.Pair("overcharge", "sensor_fault", 9.0, "undercharge", (), (), (), ())
    with translation.override("de"):
        for leading in ("overcharge", "sensor_fault", "undercharge"):
            assert left(pair.beside(leading)[1]) == ""


def test_every_line_of_the_charge_sheet_is_known(marks: None) -> None:
    plant, week = rows.plant(), rows.windows(7 * 96)
    sheets = [
        charge_sheet.sheet(plant, LiquidState(), entered, seen)
        for entered in (
            Entered(),
            Entered(factory_charge_kg=8.0, weighed_kg=9.5, limit_kg_m3=0.44, limit_edition="2025"),
        )
        for seen in (None, Seen(week, None, "normal"), Seen(week, None, "sensor_fault"))
    ]
    with translation.override("de"):
        lines = [line for sheet in sheets for line in sheet.lines]
        texts = [text for line in lines for text in (line.title, line.source, line.note)]
        texts += [*sheets[0].steps, sheets[0].caution]
        assert not {text: left(text) for text in texts if left(text) not in ("", "IPCC EPA")}


@given(
    st.floats(-99, 99, allow_nan=False),
    st.floats(0, 99, allow_nan=False),
    st.sampled_from(REGISTRY),
)
def test_numbers_of_a_phrase_come_through(
    measured: float, expected: float, finding: object
) -> None:
    text = finding.phrase.format(measured=measured, expected=expected)
    with translation.override("de"):
        german = said.say(text)
    number = r"[-+]?\d+(?:\.\d+)?%?"
    assert german != text
    assert re.findall(number, german) == re.findall(number, text)


def test_what_people_wrote_stays_as_they_wrote_it() -> None:
    with translation.override("de"):
        assert said.say("shelved until 2026-03-09: wait for Ann") == (
            "hat es bis 2026-03-09 zurückgestellt: wait for Ann"
        )
        assert said.say("Bring the long ladder; gate code 12.") == (
            "Bring the long ladder; gate code 12."
        )
        assert said.say("") == ""
    assert said.say("Nothing unusual.") == "Nothing unusual."


def test_texts_of_readings_are_collected_once() -> None:
    listed = [text for _, text in said.texts()]
    assert len(listed) == len(set(listed))
    assert {reading.do for reading in onsite.READINGS} <= set(listed)
    assert weigh.table().likelihoods.keys() == {finding.name for finding in REGISTRY}
    assert np.all([text == text.strip() for text in listed])
