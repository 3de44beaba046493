"""The pages of the runbook, as text and as HTML."""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path

from markdown_it import MarkdownIt

FOLDER = Path(__file__).parent
NAME = re.compile(r"[a-z]+(-[a-z]+)*")
_LINK = re.compile(r"\]\(([a-z-]+)\.md\)")


@dataclass(frozen=True)
class Leaf:
    """One page. ``name``: its file's, without the ending."""

    name: str
    text: str

    @property
    def title(self) -> str:
        """Its first line."""
        return self.text.partition("\n")[0].removeprefix("# ")

    def as_html(self) -> str:
        """Rendered, with links to the other pages as addresses beside this one."""
        linked = _LINK.sub(r"](../\1/)", self.text)
        return str(MarkdownIt("commonmark", {"html": False}).render(linked))


def leaf(name: str) -> Leaf | None:
    """The page of that name."""
    file = FOLDER / f"{name}.md"
    if not NAME.fullmatch(name) or not file.is_file():
        return None
    return Leaf(name, file.read_text(encoding="utf-8"))


def leaves() -> list[Leaf]:
    """All pages, by name."""
    found = (leaf(file.stem) for file in sorted(FOLDER.glob("*.md")))
    return [each for each in found if each is not None]
