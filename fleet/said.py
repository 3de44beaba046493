"""What judging wrote, and other stored sentences, in the reader's language.

They are stored in English, as they were written. Each follows a template, which is the text of the
catalogue: a stored sentence is recognised by its template and said again with the translated one,
part by part. What nobody knows stays as it is.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator
from functools import cache, lru_cache
from pathlib import Path

from django.utils.translation import get_language, gettext

from diagnostics import charge_sheet
from diagnostics.findings import REGISTRY
from diagnostics.weighing import ledger, onsite, weigh
from fleet.language import SOURCE

TABLE = Path(__file__).with_name("said.toml")
PAGES = Path(__file__).with_name("pages")

_FIELD = re.compile(r"\{(\w+)[^}]*\}")
_LISTED = re.compile(r"; (?![^(]*\))")
_IN_BRACKETS = re.compile(r"(.+) \((.+)\)")
_QUANTITY = r"[-+−]?\d[\d.]*(?:%| K| kPa| kg| °C)?"
_AS_IT_IS = frozenset(("words", "title", "room", "code", "channel", "unit", "reader", "whom"))
_AS_IT_IS |= {"quoted", "kept", "state", "date"}
_NUMBERS = frozenset(("measured", "expected", "coverage", "share", "amount", "low", "high"))
_NUMBERS |= {"change", "right", "all", "days", "n", "gwp", "volume", "rest", "warmth", "value"}


def texts() -> Iterator[tuple[str, str]]:
    """Every text judging brings along and where it stands, once each."""
    seen: set[str] = set()
    for where, text in _everywhere():
        template = _FIELD.sub(r"{\1}", text)
        if template and template not in seen:
            seen.add(template)
            yield where, template


def _everywhere() -> Iterator[tuple[str, str]]:
    for finding in REGISTRY:
        where = f"diagnostics/findings/{finding.name}.py"
        for text in (finding.title, finding.phrase, finding.source, finding.settle):
            yield where, text
    for text in (*ledger.WORDS.values(), *ledger.WAYS.values(), ledger.UNTOLD):
        yield "diagnostics/weighing/ledger.py", text
    for finding in REGISTRY:
        for reason in sorted(weigh.table().likelihoods[finding.name].reasons.values()):
            yield f"diagnostics/weighing/weights.toml, {finding.name}", reason
    for reading in onsite.READINGS:
        for text in (reading.do, reading.reads):
            yield "diagnostics/weighing/onsite.py", text
    sheet = (charge_sheet.MANIFEST, charge_sheet.ENTERED, charge_sheet.COMMON_PRACTICE)
    for text in (*sheet, *charge_sheet.STEPS, charge_sheet.CAUTION, charge_sheet.WITHOUT_LINES):
        yield "diagnostics/charge_sheet.py", text
    for where, listed in tomllib.loads(TABLE.read_text(encoding="utf-8")).items():
        yield from ((where, text) for text in listed)
    for name in ("event/advice", "glossary"):
        for text in _leaves(tomllib.loads((PAGES / f"{name}.toml").read_text(encoding="utf-8"))):
            yield f"fleet/pages/{name}.toml", text


def _leaves(node: object) -> Iterator[str]:
    """Texts of a table of TOML, but for names of findings, which are keys."""
    if isinstance(node, str):
        yield node
    elif isinstance(node, dict):
        for key, inner in node.items():
            yield from _leaves(inner) if key != "finding" else ()
    elif isinstance(node, list):
        for inner in node:
            yield from _leaves(inner)


def say(text: str) -> str:
    """A text that judging wrote, in the reader's language."""
    language = get_language() or SOURCE
    return text if language == SOURCE or not text else _say(text, language)


@lru_cache(maxsize=4096)
def _say(text: str, language: str) -> str:
    if text in _known():
        return gettext(text)
    for pattern, template in _patterns():
        if found := pattern.fullmatch(text):
            return gettext(template).format(**_parts(found, language))
    if len(listed := _LISTED.split(text)) > 1:
        return "; ".join(_say(part, language) for part in listed)
    if text.endswith("."):
        return f"{_say(text[:-1], language)}."
    if found := _IN_BRACKETS.fullmatch(text):
        return f"{_say(found[1], language)} ({_say(found[2], language)})"
    return text


def _parts(found: re.Match[str], language: str) -> dict[str, str]:
    """What people have named stays as they named it."""
    return {
        name: part if name in _AS_IT_IS else _say(part, language)
        for name, part in found.groupdict().items()
    }


@cache
def _known() -> frozenset[str]:
    return frozenset(text for _, text in texts() if "{" not in text)


@cache
def _patterns() -> tuple[tuple[re.Pattern[str], str], ...]:
    """Templates as patterns; those with most words of their own first, as they say most."""
    made = [text for _, text in texts() if "{" in text]
    made.sort(key=lambda text: -len(_FIELD.sub("", text)))
    return tuple((re.compile(_pattern(text)), text) for text in made)


def _pattern(template: str) -> str:
    """A number stands for a number, anything else for at least a letter."""
    parts = re.split(r"\{(\w+)\}", template)
    for i in range(1, len(parts), 2):
        parts[i] = f"(?P<{parts[i]}>{_QUANTITY if parts[i] in _NUMBERS else '.+?'})"
    return "".join(it if i % 2 else re.escape(it) for i, it in enumerate(parts))
