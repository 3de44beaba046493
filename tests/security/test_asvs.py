"""The table of the ASVS is whole, and every test it names is there."""

from __future__ import annotations

import ast
from collections import Counter
from functools import cache
from pathlib import Path

from tests.security import asvs, audit
from tests.structure.source import ROOT

CHAPTERS = {
    1: 27,
    2: 11,
    3: 19,
    4: 10,
    5: 9,
    6: 35,
    7: 18,
    8: 7,
    9: 7,
    10: 29,
    11: 14,
    12: 9,
    13: 13,
    14: 9,
    15: 13,
    16: 16,
    17: 7,
}
"""Items of levels 1 and 2 in each chapter of the published standard, 5.0.0."""


@cache
def functions(file: Path) -> frozenset[str]:
    tree = ast.parse(file.read_text(encoding="utf-8"))
    return frozenset(node.name for node in ast.walk(tree) if isinstance(node, ast.FunctionDef))


def test_every_item_of_levels_one_and_two_stands_once() -> None:
    ids = [each for listed in asvs.table().values() for it in listed for each in it["ids"]]
    assert [each for each, times in Counter(ids).items() if times > 1] == []
    assert Counter(int(each.split(".")[0]) for each in ids) == CHAPTERS
    assert len(ids) == 253


def test_every_test_it_names_is_there() -> None:
    named = [name for it in asvs.table()["met"] for name in it["tests"]]
    missing = []
    for name in named:
        file, _, function = name.partition("::")
        if not (ROOT / file).is_file() or function not in functions(ROOT / file):
            missing.append(name)
    assert missing == []
    assert len(named) > 100


def test_everything_is_said_in_words() -> None:
    entries = asvs.table()
    assert all(it["what"] and it["how"] and it["tests"] for it in entries["met"])
    assert all(it["what"] and it["why"] for it in entries["unmet"])
    assert all(it["why"] for it in entries["absent"])
    printed = "\n".join(asvs.lines())
    assert "| 8.1.1 8.1.2 8.2.1" in printed


def test_an_audit_tells_a_flaw_from_what_it_could_not_look_up() -> None:
    report = """{"dependencies": [
        {"name": "a", "version": "1", "vulns": [{"id": "X-1", "fix_versions": ["2"]}]},
        {"name": "b", "version": "3", "vulns": []},
        {"name": "c", "skip_reason": "not found"}]}"""
    assert audit.judged(report) == (["a 1: X-1, mended in 2"], ["c: not found"])
