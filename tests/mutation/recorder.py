"""A plugin of pytest: which test, in which phase, runs which line, and how long each takes.

Read with ``-p tests.mutation.recorder`` under ``coverage run``. A phase is kept, since what a
shared fixture runs counts for every test of the file, not only for the one that came first.
"""

from __future__ import annotations

import json
import os
from collections.abc import Iterator
from pathlib import Path

import coverage
import pytest

SECONDS_TO = "MUTATION_SECONDS_TO"
"""Variable of the environment: the file that takes seconds by test."""

_seconds: dict[str, float] = {}
_not_passed: set[str] = set()


def _in_phase(item: pytest.Item, phase: str) -> Iterator[None]:
    running = coverage.Coverage.current()
    if running is not None:
        running.switch_context(f"{item.nodeid}|{phase}")
    yield


@pytest.hookimpl(wrapper=True)
def pytest_runtest_setup(item: pytest.Item) -> Iterator[None]:
    """Lines from here on are the set-up's."""
    yield from _in_phase(item, "setup")


@pytest.hookimpl(wrapper=True)
def pytest_runtest_call(item: pytest.Item) -> Iterator[None]:
    """Lines from here on are the test's."""
    yield from _in_phase(item, "call")


def pytest_runtest_logreport(report: pytest.TestReport) -> None:
    """Add up the seconds of a test's phases."""
    _seconds[report.nodeid] = _seconds.get(report.nodeid, 0.0) + report.duration
    if not report.passed:
        _not_passed.add(report.nodeid)


def pytest_sessionfinish() -> None:
    """Write the seconds where they were asked for; of tests that pass."""
    if target := os.environ.get(SECONDS_TO):
        passed = {test: took for test, took in _seconds.items() if test not in _not_passed}
        Path(target).write_text(json.dumps(passed))
