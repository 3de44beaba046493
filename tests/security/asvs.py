"""Prints the table of the OWASP ASVS: ``python -m tests.security.asvs``."""

from __future__ import annotations

import sys
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

FILE = Path(__file__).with_name("asvs.toml")


def table() -> dict[str, list[dict[str, Any]]]:
    """The entries by what became of them: met, unmet, absent."""
    return tomllib.loads(FILE.read_text(encoding="utf-8"))


def lines() -> Iterator[str]:
    """The table as Markdown."""
    entries = table()
    counts = {name: sum(len(it["ids"]) for it in listed) for name, listed in entries.items()}
    yield f"OWASP ASVS 5.0.0, levels 1 and 2: {counts}\n"
    yield "| items | what | how met | tests |\n|---|---|---|---|"
    for it in entries["met"]:
        tests = "<br>".join(name.removeprefix("tests/") for name in it["tests"])
        yield f"| {' '.join(it['ids'])} | {it['what']} | {it['how']} | {tests} |"
    for name, heading in (("unmet", "not met"), ("absent", "nothing of the kind here")):
        yield f"\n| {heading} | | why |\n|---|---|---|"
        for it in entries[name]:
            yield f"| {' '.join(it['ids'])} | {it.get('what', '')} | {it['why']} |"


if __name__ == "__main__":
    sys.stdout.write("\n".join(lines()) + "\n")
