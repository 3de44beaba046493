"""The reader's units."""

from __future__ import annotations

import re

import pytest
from django.utils import translation

from fleet.pages import units
from fleet.pages.units import Preference
from tests.pages.scene import Scene, signed_in

FAHRENHEIT = Preference("degF", "psig")
NARROW = "\u00a0"


@pytest.mark.parametrize(
    ("value", "unit", "prefer", "shown"),
    [
        (12.4, "K", Preference(), f"12.4{NARROW}K"),
        (20.0, "K", FAHRENHEIT, f"36{NARROW}°F"),
        (20.0, "degC", FAHRENHEIT, f"68.0{NARROW}°F"),
        (-0.04, "K", Preference(), f"0.0{NARROW}K"),
        (-3.2, "K", Preference(), f"−3.2{NARROW}K"),
        (689.475729, "kPa", FAHRENHEIT, f"100.0{NARROW}psi"),
        (250.0, "kPa", Preference(pressure="bar(g)"), f"2.50{NARROW}bar"),
        (0.21, "1", Preference(), "0.21"),
        (0.98, "share", Preference(), f"98{NARROW}%"),
        (312.0, "s", Preference(), f"312{NARROW}s"),
        (None, "K", Preference(), "–"),
        (float("nan"), "K", Preference(), "–"),
    ],
)
def test_a_number_is_printed_with_the_readers_unit(
    value: float | None, unit: str, prefer: Preference, shown: str
) -> None:
    assert units.measured(value, unit, prefer) == shown


def test_differences_in_stored_sentences_follow_the_reader() -> None:
    said = "Subcooling 12.4 K, expected 5.0 K; system K 3 of R-32K untouched."
    here = said.replace("12.4 K", f"12.4{NARROW}K").replace("5.0 K", f"5.0{NARROW}K")
    assert units.text(said, Preference()) == here
    shown = units.text(said, FAHRENHEIT)
    assert shown.startswith(f"Subcooling 22{NARROW}°F, expected 9{NARROW}°F; system K 3 of R-32K")


@pytest.mark.parametrize(
    ("said", "prefer", "shown"),
    [
        (
            "suction superheat -0.2 K, usual 5 K",
            Preference(),
            "suction superheat −0.2 K, usual 5 K",
        ),
        ("valves 69% open, usual 37%", Preference(), "valves 69 % open, usual 37 %"),
        ("reads +237 kPa against", Preference(), "reads +237 kPa against"),
        ("reads +237 kPa against", Preference(pressure="bar(g)"), "reads +2.37 bar against"),
        ("reads -237 kPa against", FAHRENHEIT, "reads −34.4 psi against"),
        ("condensing at 45 °C, 1.2 kg/m3", Preference(), "condensing at 45 °C, 1.2 kg/m3"),
        ("off −4.5 K (-5.6 to -3.5 K)", Preference(), "off −4.5 K (−5.6 to −3.5 K)"),
        ("of 11.1 mm, N-2, 5-7 days", Preference(), "of 11.1 mm, N-2, 5-7 days"),
        ("in one step about 2026-10-04:", Preference(), "in one step about 4 Oct 2026:"),
    ],
)
def test_quantities_and_days_of_a_sentence_are_written_as_on_the_rest_of_the_page(
    said: str, prefer: Preference, shown: str
) -> None:
    made = units.text(said, prefer)
    assert made.replace(NARROW, " ") == shown
    assert not re.search(r"\d (K|kPa|bar|psi|°C|%)", made)


def test_a_sentence_is_written_as_germans_write_it() -> None:
    with translation.override("de"):
        assert units.text("about 2026-10-04", Preference()) == "about 4. Okt 2026"
        assert units.text("-0.2 K", Preference()) == f"−0,2{NARROW}K"


def test_the_choice_is_kept_for_the_session(fleet: Scene) -> None:
    browser = signed_in(fleet.rep)
    chosen = {"temperature": "degF", "pressure": "psig", "next": "/sites/ferry-hall/"}
    answer = browser.post("/units", chosen)
    assert answer["Location"] == "/sites/ferry-hall/"
    seen = browser.get("/").content.decode()
    assert '<option value="degF" selected>' in seen
    assert '<option value="psig" selected>' in seen


@pytest.mark.parametrize("back", ["https://example.org/", "//example.org", "javascript:alert(1)"])
def test_nobody_is_sent_to_another_site(fleet: Scene, back: str) -> None:
    answer = signed_in(fleet.rep).post("/units", {"next": back})
    assert answer["Location"] == "/"


def test_unknown_units_fall_back(fleet: Scene) -> None:
    browser = signed_in(fleet.rep)
    browser.post("/units", {"temperature": "<b>", "pressure": "torr"})
    assert '<option value="degC" selected>' in browser.get("/").content.decode()
