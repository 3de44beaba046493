"""A plugin of pytest: which test, in which phase, runs which line, and how long each takes.

Read with ``-p tests.mutation.recorder`` under ``coverage run``. A phase is kept, since what a
shared fixture runs counts for every test of the file, not only for the one that came first; so do
its seconds, which whichever test is asked first has to wait for.
"""

from __future__ import annotations

import json
import os
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import coverage
import pytest

SECONDS_TO = "MUTATION_SECONDS_TO"
"""Variable of the environment: the file that takes seconds by test."""

_seconds: dict[str, float] = {}
_shared_s: dict[str, float] = {}
"""Seconds of making each fixture that several tests share."""
_shared_by: dict[str, list[str]] = {}
"""The shared fixtures of each test."""
_made_by: dict[str, list[str]] = {}
"""Those that were made for it: it came first."""
_making = ""
_not_passed: set[str] = set()


def _in_phase(item: pytest.Item, phase: str) -> Iterator[None]:
    running = coverage.Coverage.current()
    if running is not None:
        running.switch_context(f"{item.nodeid}|{phase}")
    yield


@pytest.hookimpl(wrapper=True)
def pytest_runtest_setup(item: pytest.Item) -> Iterator[None]:
    """Lines from here on are the set-up's."""
    global _making
    _making = item.nodeid
    _shared_by[item.nodeid] = [
        _name(definitions[-1], item)
        for definitions in item._fixtureinfo.name2fixturedefs.values()  # type: ignore[attr-defined]
        if definitions[-1].scope != "function"
    ]
    yield from _in_phase(item, "setup")


@pytest.hookimpl(wrapper=True)
def pytest_fixture_setup(fixturedef: Any, request: Any) -> Iterator[None]:
    """Keep how long a shared fixture takes to make."""
    begun = time.perf_counter()
    made = yield
    if fixturedef.scope != "function":
        name = _name(fixturedef, request._pyfuncitem)
        _shared_s[name] = time.perf_counter() - begun
        _made_by.setdefault(_making, []).append(name)
    return made


def _name(fixturedef: Any, item: Any) -> str:
    """Of a shared fixture: a parametrised one is made once for each parameter."""
    chosen = getattr(item, "callspec", None)
    which = chosen.indices.get(fixturedef.argname, "") if chosen else ""
    return f"{fixturedef.baseid}::{fixturedef.argname}[{which}]"


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
    """Write seconds as they were, and alone, where they were asked for; of tests that pass."""
    if target := os.environ.get(SECONDS_TO):
        passed = {test: took for test, took in _seconds.items() if test not in _not_passed}
        both = {test: (took, _alone_s(test)) for test, took in passed.items()}
        Path(target).write_text(json.dumps(both))


def _alone_s(test: str) -> float:
    """Seconds if no other test had made a fixture before it."""
    made = sum(_shared_s[name] for name in _made_by.get(test, ()))
    needed = sum(_shared_s.get(name, 0.0) for name in _shared_by[test])
    return _seconds[test] - made + needed
