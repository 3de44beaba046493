"""Nothing in the repository speaks of the machine it was written on."""

from __future__ import annotations

import re

import pytest

from tests.structure import source

# Brackets keep the patterns from matching their own lines.
FORBIDDEN = {
    "a path of one machine": r"(?<![\w.])/(?:wor[k]|roo[t]|User[s]|home/[a-z]+)/",
    "a scratch folder": r"bash_job[s]",
    "a package registry's host": (
        r"files\.pythonhoste[d]|pypi\.org/simpl[e]|registry\.npmj[s]|deb\.debia[n]|test\.pyp[i]"
    ),
    "unfinished business": r"\b(?:TOD[O]|FIXM[E]|XX[X])\b",
}


@pytest.mark.parametrize("what", FORBIDDEN)
def test_no_tracked_file_holds(what: str) -> None:
    pattern = re.compile(FORBIDDEN[what])
    found = [
        f"{path}:{number} {line.strip()[:100]}"
        for path in source.tracked()
        if not source.is_vendored(path) and (content := _text_or_none(path)) is not None
        for number, line in enumerate(content.splitlines(), 1)
        if pattern.search(line)
    ]
    assert not found, f"{what}:\n  " + "\n  ".join(found)


@pytest.mark.parametrize(
    ("what", "line"),
    [
        ("a path of one machine", "open('/wor" + "k/main/data.csv')"),
        ("a package registry's host", "https://files.pythonhoste" + "d.org/packages"),
        ("unfinished business", "# TOD" + "O: later"),
    ],
)
def test_such_a_line_would_be_found(what: str, line: str) -> None:
    assert re.search(FORBIDDEN[what], line)


def test_no_tracked_file_is_large() -> None:
    limit = 5_000_000
    large = [
        f"{path}: {size} bytes"
        for path in source.tracked()
        if (size := (source.ROOT / path).stat().st_size) > limit
    ]
    assert not large, "files that do not belong into git:\n  " + "\n  ".join(large)


def _text_or_none(path: source.Path) -> str | None:
    try:
        return source.text(path)
    except UnicodeDecodeError:
        return None
