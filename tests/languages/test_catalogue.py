"""The German catalogue: complete, compiled, and with the same parts in every sentence."""

from __future__ import annotations

import re

import pytest
from babel.messages.catalog import Message

from tests.languages import catalogue

LANGUAGES = catalogue.languages()
_PART = re.compile(r"%\(\w+\)[sdif]|%%|\{\w*\}|</?\w+")


def forms(text: str | tuple[str, ...]) -> tuple[str, ...]:
    return (text,) if isinstance(text, str) else tuple(text)


def messages(language: str) -> list[Message]:
    return [message for message in catalogue.read(language) if message.id]


def test_german_is_there() -> None:
    assert LANGUAGES == ["de"]
    assert len(messages("de")) > 1300


@pytest.mark.parametrize("language", LANGUAGES)
def test_every_text_of_the_sources_is_in_the_catalogue_and_no_other(language: str) -> None:
    wanted = {(message.id, message.context) for message in catalogue.collected() if message.id}
    there = {(message.id, message.context) for message in messages(language)}
    hint = "run python -m tests.languages.catalogue"
    assert not wanted - there, f"not in the catalogue: {sorted(map(str, wanted - there))}; {hint}"
    assert not there - wanted, f"asked for nowhere: {sorted(map(str, there - wanted))}; {hint}"


@pytest.mark.parametrize("language", LANGUAGES)
def test_every_text_is_translated_and_none_is_a_guess(language: str) -> None:
    lacking = [it.id for it in messages(language) if not all(forms(it.string)) or it.fuzzy]
    assert not lacking


@pytest.mark.parametrize("language", LANGUAGES)
def test_translations_have_the_parts_of_their_texts(language: str) -> None:
    differ = []
    for message in messages(language):
        plain = sorted(_PART.findall(forms(message.id)[-1]))
        for said in forms(message.string):
            # A singular may leave its number out, as English does.
            single = isinstance(message.id, (list, tuple)) and said == forms(message.string)[0]
            asked = sorted(_PART.findall(forms(message.id)[0])) if single else plain
            if sorted(_PART.findall(said)) not in (asked, plain):
                differ.append(f"{message.id!r}: {said!r}")
    assert not differ, "\n".join(differ)


@pytest.mark.parametrize("language", LANGUAGES)
def test_what_is_compiled_is_what_is_written(language: str) -> None:
    _, compiled = catalogue.written(catalogue.read(language))
    hint = "run python -m tests.languages.catalogue"
    assert catalogue.place(language, ".mo").read_bytes() == compiled, hint
