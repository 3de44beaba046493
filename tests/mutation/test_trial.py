"""A fault is found by a failing test only, and stays in the process that tried it."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest

from diagnostics.signals import superheat

CHANGES = {
    "none": ("from", "from"),
    "sign": (" - ", " + "),
    "import": ("from __future__", "from nowhere"),
    "loop": ("    return ", "    while True: pass\n    return "),
}
TRIED = """
import json, sys
from tests.mutation import trial

trial.TEST_LIMIT_S = 3.0
trial.prepare()
source, changes = json.load(sys.stdin)
for name, (before, after) in changes.items():
    fault = ("diagnostics.signals.superheat", source.replace(before, after))
    told = trial.outcome(["tests/diagnostics/signals/test_superheat.py"], fault, budget_s=10.0)
    print(json.dumps([name, told.kind, told.test, told.run]))
"""


@pytest.fixture(scope="module")
def told() -> dict[str, tuple[str, str, int]]:
    """What the tests of superheat say of each change: the kind, which test, how many were run."""
    path = Path(superheat.__file__)
    source = path.read_text()
    made = subprocess.run(
        [sys.executable, "-c", TRIED],
        input=json.dumps([source, CHANGES]),
        capture_output=True,
        text=True,
        check=True,
    )
    assert path.read_text() == source
    lines = [json.loads(line) for line in made.stdout.splitlines()]
    return {name: (kind, test, run) for name, kind, test, run in lines}


def test_without_a_change_all_tests_are_run_and_nothing_is_found(
    told: dict[str, tuple[str, str, int]],
) -> None:
    kind, test, run = told["none"]
    assert (kind, test) == ("missed", "")
    assert run > 3


def test_a_wrong_sign_is_found_by_a_test_that_is_named(
    told: dict[str, tuple[str, str, int]],
) -> None:
    kind, test, _ = told["sign"]
    assert kind == "found"
    assert "test_superheat.py::test_" in test


def test_what_cannot_be_imported_is_found(told: dict[str, tuple[str, str, int]]) -> None:
    assert told["import"] == ("found", "tests/diagnostics/signals/test_superheat.py", 0)


def test_what_never_ends_hangs(told: dict[str, tuple[str, str, int]]) -> None:
    assert told["loop"][0] == "hung"
