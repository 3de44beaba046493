"""Which tests run a line of ``diagnostics/``, the quickest first, and what none of them runs.

How quick a test is counts with the fixtures it shares with others: it may have to make them itself.
"""

from __future__ import annotations

import ast
import hashlib
import json
import os
import subprocess
import sys
from collections.abc import Iterable, Iterator
from pathlib import Path

import coverage

from tests.mutation import recorder
from tests.mutation.mutants import PACKAGE, ROOT

TESTS = "tests/diagnostics"
LONGEST_S = 2.0
"""Slower tests, those of whole fleets, are not run against a fault."""
QUICK_S = 0.2
"""Of those as quick as this a module's own come first, and slower ones after all of them."""
_TIMED = "many_times_faster"
"""Nor are tests that measure time, which fail when a machine is busy."""
_ENOUGH = 3
"""A line with fewer tests may be run once for all, its result kept: the module's tests count."""


_SETTINGS = "[run]\nbranch = true\nsource = {}\ndata_file = {}\n"


_WHATEVER = f"{TESTS}/test_frozen.py"
"""Looks at what every module makes on import, which no line tells."""


class Recording:
    """What one run of all tests left in ``folder``."""

    def __init__(self, folder: Path) -> None:
        self._data = coverage.CoverageData(str(folder / "lines"))
        self._data.read()
        both = json.loads((folder / "seconds").read_text())
        self._seconds: dict[str, float] = {test: took for test, (took, _) in both.items()}
        self._alone: dict[str, float] = {test: took for test, (_, took) in both.items()}

    def all_tests(self) -> list[str]:
        """Every test that is quick enough and passes, the quickest first."""
        return self._ordered(self._seconds)

    def tests_of(self, path: str, line: int) -> list[str]:
        """The tests that run the statement at ``line``, else the module's; its own files first.

        Those of its own files are asked even where they were not seen to run it, last: what a cache
        keeps is run for the first test that comes by, and what is read on import for none.
        """
        contexts = self._data.contexts_by_lineno(str(ROOT / path))
        every = self._ordered(self._tests(set().union(*contexts.values())) if contexts else ())
        lines = _statement(ROOT / path, line)
        if not lines:
            # A module of numbers alone has no line that a test runs.
            every = every if len(every) >= _ENOUGH else self.all_tests()
            every = [*every, *self._ordered(t for t in self._seconds if t.startswith(_WHATEVER))]
        near = [contexts[each] for each in lines if each in contexts]
        tests = self._ordered(self._tests(set().union(*near)) if near else ())
        if len(tests) < _ENOUGH:
            tests += [test for test in every if test not in tests]
        decorates = _decorates(ROOT / path, line)
        own = self._ordered(test for test in self._seconds if _is_own(path, test))
        unseen = [test for test in own if test not in tests]
        if not lines:
            tests, unseen = tests + unseen, []
        return sorted(tests, key=lambda test: self._rank(path, test, decorates)) + unseen

    def _rank(self, path: str, test: str, decorates: bool) -> tuple[bool, bool, bool]:
        frozen = test.startswith(_WHATEVER)
        first = frozen and decorates
        slow = not first and (frozen or self._alone[test] > QUICK_S)
        return not first, slow, not _is_own(path, test)

    def _tests(self, contexts: Iterable[str]) -> Iterator[str]:
        for context in contexts:
            test, _, phase = context.rpartition("|")
            if phase == "call":
                yield test
            elif phase == "setup":
                file = test.partition("::")[0] + "::"
                yield from (each for each in self._seconds if each.startswith(file))

    def _ordered(self, tests: Iterable[str]) -> list[str]:
        quick = {
            test
            for test in tests
            if (self._seconds.get(test, LONGEST_S) < LONGEST_S or test.startswith(_WHATEVER))
            and _TIMED not in test
        }
        return sorted(quick, key=lambda test: (self._alone[test], test))


def record(folder: Path) -> Recording:
    """Run all tests once; raise CalledProcessError when one fails.

    What lies in ``folder`` is taken if neither code nor tests have changed since.
    """
    stamp, state = folder / "state", _state()
    if not stamp.exists() or stamp.read_text() != state:
        folder.mkdir(parents=True, exist_ok=True)
        settings = folder / "settings"
        settings.write_text(_SETTINGS.format(PACKAGE, folder / "lines"))
        command = (sys.executable, "-m", "coverage", "run", f"--rcfile={settings}", "-m", "pytest")
        options = ("-q", "-p", "no:cacheprovider", "-p", "tests.mutation.recorder", TESTS)
        seconds_to = {recorder.SECONDS_TO: str(folder / "seconds")}
        subprocess.run([*command, *options], cwd=ROOT, check=True, env=os.environ | seconds_to)
        stamp.write_text(state)
    return Recording(folder)


def report(folder: Path) -> float:
    """Print what is not run, file by file; give the share of branches that is run, in percent."""
    run = coverage.Coverage(config_file=str(folder / "settings"))
    run.load()
    run.report(show_missing=True, skip_covered=True)
    run.json_report(outfile=str(folder / "lines.json"))
    totals = json.loads((folder / "lines.json").read_text())["totals"]
    return 100.0 * float(totals["covered_branches"]) / float(totals["num_branches"])


def _is_own(path: str, test: str) -> bool:
    """Whether the test stands in a file named after the module, or after its folder."""
    name = test.partition("::")[0].rpartition("/")[2].removeprefix("test_")
    module = Path(path)
    return name.startswith((module.stem, module.parent.name))


def _decorates(path: Path, line: int) -> bool:
    return any(
        decorator.lineno <= line <= (decorator.end_lineno or line)
        for node in ast.walk(ast.parse(path.read_text()))
        if isinstance(node, ast.ClassDef)
        for decorator in node.decorator_list
    )


def _state() -> str:
    files = sorted(path for top in (PACKAGE, TESTS) for path in (ROOT / top).rglob("*.py"))
    return hashlib.sha256(b"".join(path.read_bytes() for path in files)).hexdigest()


def _statement(path: Path, line: int) -> range:
    """The lines of the innermost statement; none if it runs on import or only once."""
    inside = [
        node
        for node in ast.walk(ast.parse(path.read_text()))
        if isinstance(node, ast.stmt) and line in _lines(node)
    ]
    functions = [node for node in inside if isinstance(node, ast.FunctionDef)]
    innermost = min(inside, key=lambda node: len(_lines(node)), default=None)
    if innermost is None or isinstance(innermost, ast.FunctionDef | ast.ClassDef) or not functions:
        return range(0)
    if any("cache" in ast.unparse(name) for node in functions for name in node.decorator_list):
        return range(0)
    body = getattr(innermost, "body", None)
    end = body[0].lineno if body else (innermost.end_lineno or line) + 1
    return range(innermost.lineno, max(end, innermost.lineno + 1))


def _lines(node: ast.stmt) -> range:
    first = min([node.lineno, *(each.lineno for each in getattr(node, "decorator_list", []))])
    return range(first, (node.end_lineno or node.lineno) + 1)
