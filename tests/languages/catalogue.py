"""Collects every text people read, and keeps the catalogues of other languages complete.

``python -m tests.languages.catalogue`` reads the sources, the templates and the texts that judging
brings along (``fleet.said``), puts them into every ``.po`` under ``fleet/locale`` with the
translations there are, and compiles these to ``.mo``. Nothing outside Python is needed.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator
from datetime import UTC, datetime
from io import BytesIO
from pathlib import Path

import django
from babel.messages.catalog import Catalog
from babel.messages.extract import extract
from babel.messages.mofile import write_mo
from babel.messages.pofile import read_po, write_po
from django.utils.translation.template import templatize

ROOT = Path(__file__).resolve().parents[2]
FLEET = ROOT / "fleet"
LOCALE = FLEET / "locale"

KEYWORDS = {
    "_": None,
    "gettext": None,
    "gettext_lazy": None,
    "gettext_noop": None,
    "ngettext": (1, 2),
    "ngettext_lazy": (1, 2),
    "pgettext": ((1, "c"), 2),
    "pgettext_lazy": ((1, "c"), 2),
}
DATED = datetime(2026, 11, 25, tzinfo=UTC)
"""Of every catalogue: a date that moved would make each run a change."""

Text = tuple[str, str | tuple[str, ...], str | None]
"""Where it stands, the text or its singular and plural, and its context."""


def languages() -> list[str]:
    """Those there are catalogues for."""
    return sorted(path.parents[1].name for path in LOCALE.glob("*/LC_MESSAGES/django.po"))


def place(language: str, suffix: str = ".po") -> Path:
    """The catalogue of a language."""
    return LOCALE / language / "LC_MESSAGES" / f"django{suffix}"


def texts() -> Iterator[Text]:
    """Everything marked in the sources and the templates, and what judging brings along."""
    for path in sorted(FLEET.rglob("*.py")):
        yield from _marked(path, path.read_bytes())
    for path in sorted([*FLEET.rglob("*.html"), *(FLEET / "templates").rglob("*.txt")]):
        code = templatize(path.read_text(encoding="utf-8"))
        # Filler stands where no text is: that reads as Python where no line is indented.
        yield from _marked(path, "\n".join(it.strip() for it in code.splitlines()).encode())
    yield from _brought_along()


def _marked(path: Path, code: bytes) -> Iterator[Text]:
    for _, message, _, context in extract("python", BytesIO(code), keywords=KEYWORDS):
        yield path.relative_to(ROOT).as_posix(), message, context


def _brought_along() -> Iterator[Text]:
    from fleet import said

    for where, text in said.texts():
        yield where, text, None


def collected() -> Catalog:
    """All of it as a catalogue without translations."""
    made = Catalog(project="Millrace", creation_date=DATED, revision_date=DATED)
    for where, message, context in texts():
        made.add(message, locations=[(where, 0)], context=context)
    return made


def read(language: str) -> Catalog:
    """A catalogue as it lies there."""
    with place(language).open("rb") as file:
        return read_po(file, locale=language)


def renewed(language: str) -> Catalog:
    """The same with every text there is now, and none that is gone."""
    known, made = (
        read(language),
        Catalog(
            locale=language,
            project="Millrace",
            creation_date=DATED,
            revision_date=DATED,
            header_comment=f"# Millrace in {language}.",
            fuzzy=False,
        ),
    )
    for message in collected():
        if not message.id:
            continue
        had = known.get(message.id, message.context)
        string = had.string if had is not None else None
        made.add(message.id, string, message.locations, context=message.context)
    return made


def written(catalogue: Catalog) -> tuple[bytes, bytes]:
    """As .po and as .mo."""
    po, mo = BytesIO(), BytesIO()
    write_po(po, catalogue, width=100, include_lineno=False, sort_output=False, omit_header=False)
    write_mo(mo, catalogue)
    return po.getvalue(), mo.getvalue()


def main() -> None:
    """Renew every catalogue, and say what lacks a translation."""
    for language in languages():
        catalogue = renewed(language)
        po, mo = written(catalogue)
        place(language).write_bytes(po)
        place(language, ".mo").write_bytes(mo)
        lacking = [it.id for it in catalogue if it.id and not it.string]
        sys.stdout.write(f"{language}: {len(catalogue)} texts, {len(lacking)} not translated\n")
        sys.stdout.writelines(f"  {text!r}\n" for text in lacking)


if __name__ == "__main__":
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "fleet.settings")
    django.setup()
    main()
