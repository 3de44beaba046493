"""Help in place: every number has its text, and no text is left without a place."""

from __future__ import annotations

import re

import pytest

from fleet.pages import glossary
from tests.pages.scene import Scene, signed_in
from tests.pages.test_static import TEMPLATES

ASKED = {
    key: path.name
    for path in TEMPLATES
    for key in re.findall(r'{% help "(\w+)" %}', path.read_text("utf-8"))
}


def test_every_term_asked_for_is_explained_and_every_explanation_is_asked_for() -> None:
    assert set(ASKED) == set(glossary.terms())


@pytest.mark.parametrize("key", sorted(glossary.terms()))
def test_a_term_says_what_how_and_from_where(key: str) -> None:
    term = glossary.terms()[key]
    for text in (term.name, term.what, term.how, term.source):
        assert text.strip()
        assert len(text) < 420
    assert term.what.endswith(".")
    assert term.how.endswith(".")


def test_a_page_gives_each_text_once_however_often_it_is_asked_for(fleet: Scene) -> None:
    seen = signed_in(fleet.manager).get(f"/events/{fleet.event.pk}/").content.decode()
    texts = re.findall(r'id="help-(\w+)"', seen)
    assert texts
    assert len(texts) == len(set(texts))
    assert set(re.findall(r'popovertarget="help-(\w+)"', seen)) == set(texts)
