"""A language in which every translated text stands between marks, to see which text is not."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from html.parser import HTMLParser
from io import BytesIO
from pathlib import Path

import django
from babel.messages.catalog import Catalog
from babel.messages.mofile import read_mo, write_mo
from django.apps import apps

from tests.languages import catalogue

OPEN, CLOSE = "⟦", "⟧"
SILENT = frozenset(("script", "style", "code", "noscript"))
SPOKEN = ("alt", "title", "aria-label", "placeholder", "content")
"""Attributes that are read out or shown."""

_WORD = re.compile(r"[^\W\d_]{3,}")


def write(into: Path, language: str) -> None:
    """The catalogue of a language as it would be if marks were all the translation."""
    made = Catalog(locale=language)
    for message in (*_of_django(language), *catalogue.read(language)):
        if not message.id:
            continue
        forms = tuple(message.id) if isinstance(message.id, (tuple, list)) else (message.id,)
        marked = tuple(f"{OPEN}{form}{CLOSE}" for form in forms)
        string = marked if len(marked) > 1 else marked[0]
        # The reader of .mo leaves contexts as bytes.
        context = (
            message.context.decode() if isinstance(message.context, bytes) else message.context
        )
        made.add(forms if len(forms) > 1 else forms[0], string, context=context)
    folder = into / language / "LC_MESSAGES"
    folder.mkdir(parents=True)
    file = BytesIO()
    write_mo(file, made)
    (folder / "django.mo").write_bytes(file.getvalue())


def _of_django(language: str) -> Iterator[object]:
    """What Django itself says: of forms, passwords, dates."""
    roots = [Path(django.__file__).parent / "conf"]
    roots += [Path(app.path) for app in apps.get_app_configs() if app.label != "fleet"]
    for root in roots:
        file = root / "locale" / language / "LC_MESSAGES" / "django.mo"
        if file.exists():
            with file.open("rb") as stream:
                yield from read_mo(stream)


class Visible(HTMLParser):
    """Collects what a reader of the page sees or hears."""

    def __init__(self) -> None:
        """Nothing yet."""
        super().__init__()
        self.texts: list[str] = []
        self._depth = 0
        self._silent: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Attributes, and whether what follows is text for people."""
        given = dict(attrs)
        if tag in SILENT or given.get("lang") == "en":
            self._silent.append(tag)
        spoken = [name for name in SPOKEN if tag != "meta" or given.get("name") == "author"]
        self.texts += [outside(text)[0] for name in spoken if (text := given.get(name))]
        if tag == "input" and given.get("type") in ("submit", "button"):
            self.texts.append(given.get("value") or "")

    def handle_endtag(self, tag: str) -> None:
        """Text for people again."""
        if self._silent and self._silent[-1] == tag:
            self._silent.pop()

    def handle_data(self, data: str) -> None:
        """A text node; a translated sentence may have elements in it."""
        if not self._silent and data.strip():
            rest, self._depth = outside(data, self._depth)
            self.texts.append(rest)

    def close(self) -> None:
        """Marks that open and never close would hide everything behind them."""
        super().close()
        assert self._depth == 0, "a translated text of the page was cut"


def unmarked(html: str, allowed: Iterable[str]) -> set[str]:
    """Texts of a page that hold a word which no catalogue has translated and nobody allows.

    ``allowed``: names and units, as they stand. Marks inside marks (a part of a sentence) count.
    """
    page = Visible()
    page.feed(html)
    page.close()
    names = sorted(allowed, key=len, reverse=True)
    found = set()
    for text in page.texts:
        rest = text
        for name in names:
            rest = rest.replace(name, " ")
        if _WORD.search(rest):
            found.add(" ".join(text.split())[:160])
    return found


def outside(text: str, depth: int = 0) -> tuple[str, int]:
    """What of a text stands outside of marks, and how many marks are open after it."""
    kept = []
    for part in re.split(f"([{OPEN}{CLOSE}])", text):
        if part in (OPEN, CLOSE):
            depth += 1 if part == OPEN else -1
        elif not depth:
            kept.append(part)
    return " ".join(kept), depth
