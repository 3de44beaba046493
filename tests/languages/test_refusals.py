"""Refusals that people meet on pages are said in their language, whoever wrote them."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from django.utils import translation

from fleet import said
from fleet.models import LogMapping
from tests.languages.marked import outside
from tests.pages.logs.test_page import send
from tests.pages.scene import Scene, signed_in
from tests.people.world import World

ROOT = Path(said.__file__).parent
SOURCES = (
    *(ROOT / "ingest" / f"{name}.py" for name in ("unpack", "header", "mapping", "table", "sniff")),
    ROOT / "ingest" / "parse.py",
    ROOT / "analysis" / "alarm_state.py",
    ROOT / "notices" / "call.py",
)
REFUSALS = ("RefusedError", "TooLargeError", "TransitionError", "CallError", "_refused")
COMPOSED = {
    "no row is valid7",  # with the first complaint, below
    'no column is called "time"7',  # with a hint at the separator, below
    "An event that is 7 cannot be 7.",  # with the one verb there is, below
}
"""Texts with a part that is a piece of sentence."""

PARTS = (
    'no row is valid; first: "x" is not a time as RFC 3339 writes it: row left out',
    "no row is valid: only the header is there",
    'no column is called "time": name the column of time stamps so',
    'no column is called "time": cells are to be separated by commas (RFC 4180)',
    "An event that is shelved cannot be acknowledged.",
    "unknown unit [furlong]; accepted: kPa(a), kPa(g)",
    (
        "[bar] does not say whether the pressure is gauge or absolute: write bar(a) or bar(g); "
        "accepted: kPa(a), kPa(g)"
    ),
    "the unit is missing: write it as suction_pressure [kPa(a)]; accepted: kPa(a), kPa(g)",
    '"900" is outside the physical range, -60 to 80 degC',
    '"maybe" is none of off, cool, heat, fan',
)


def written() -> Iterator[str]:
    """Every text the sources refuse something with; parts put in stand as a 7."""
    for path in SOURCES:
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            named = isinstance(node, ast.Call) and isinstance(node.func, ast.Name)
            if not named or node.func.id not in REFUSALS or not node.args:
                continue
            text = node.args[0]
            if isinstance(text, ast.Constant):
                yield text.value
            elif isinstance(text, ast.JoinedStr):
                yield "".join(
                    str(it.value) if isinstance(it, ast.Constant) else "7" for it in text.values
                )


def test_every_refusal_of_the_sources_is_known_sentence_by_sentence(marks: None) -> None:
    listed = set(written())
    assert len(listed) > 35
    assert listed >= COMPOSED
    with translation.override("de"):
        unknown = {text for text in listed - COMPOSED if outside(said.say(text))[0].strip(" 7.")}
        assert not unknown
        for text in PARTS:
            assert said.say(text) != text


def test_what_a_file_says_itself_stays_as_it_says_it() -> None:
    with translation.override("de"):
        assert said.say('"off" is not a number') == "„off“ ist keine Zahl"
        assert said.say("unknown unit [commas]; accepted: kPa(a), bar(g)") == (
            "unbekannte Einheit [commas]; möglich sind: kPa(a), bar(g)"
        )
    assert said.say('"off" is not a number') == '"off" is not a number'


@pytest.mark.parametrize(
    ("body", "shown"),
    [
        (b"\x1f\x8b\x08\x00 broken, all of it", "day.csv: die gzip-Daten sind beschädigt"),
        (b"hello\nthere\n", "day.csv: keine Tabelle gefunden: keine Zeile hat zwei Zellen"),
    ],
)
def test_a_file_that_is_no_log_is_refused_in_german(german: World, body: bytes, shown: str) -> None:
    fleet: Scene = german.scene
    stored = LogMapping.objects.count()
    browser = send(fleet.manager, fleet.system, body)
    assert shown in browser.answer.content.decode()  # type: ignore[attr-defined]
    assert LogMapping.objects.count() == stored


def test_a_mapping_that_cannot_be_used_says_where_and_why_in_german(german: World) -> None:
    fleet: Scene = german.scene
    body = b"time,a,b\n" + b"".join(b"2026-01-05T14:%02d:00Z,1,2\n" % i for i in range(30))
    browser = send(fleet.manager, fleet.system, body)
    made = LogMapping.objects.latest("pk")
    sent = {"time-1": "0", "do": "keep", "meant-1": "suction_pressure [bar]"}
    sent["form"] = made.layout["time"]["form"]
    browser.post(f"/logs/{made.pk}/change", sent)
    page = browser.get(f"/logs/{made.pk}/").content.decode()
    assert re.search(r"Zeile 1, suction_pressure \[bar\]: \[bar\] sagt nicht, ob der Druck", page)


def test_an_event_that_cannot_be_shelved_says_so_in_german(german: World) -> None:
    fleet: Scene = german.scene
    browser = signed_in(fleet.manager)
    path = f"/events/{fleet.event.pk}/"
    for _ in range(2):
        browser.post(f"{path}shelve", {"days": "7", "reason": "Warten"})
    page = browser.get(path).content.decode()
    assert "Ein Ereignis im Zustand „zurückgestellt“ kann nicht zurückgestellt werden." in page
