"""The linters and the type checker pass as configured in pyproject.toml."""

from __future__ import annotations

import subprocess
import sys

import pytest

from tests.structure import source


@pytest.mark.parametrize(
    "arguments",
    [
        pytest.param(["ruff", "check", "--no-cache", "."], id="ruff-check"),
        pytest.param(["ruff", "format", "--no-cache", "--check", "."], id="ruff-format"),
        pytest.param(["mypy", "--strict"], id="mypy-strict", marks=pytest.mark.timeout(600)),
    ],
)
def test_passes(arguments: list[str]) -> None:
    outcome = subprocess.run(
        [sys.executable, "-m", *arguments],
        cwd=source.ROOT,
        capture_output=True,
        text=True,
        check=False,
    )
    assert outcome.returncode == 0, outcome.stdout + outcome.stderr
