"""Run tests against one fault, in a forked process and in memory: no file is changed."""

from __future__ import annotations

import json
import os
import select
import signal
import sys
import time
from collections.abc import Sequence
from dataclasses import dataclass
from importlib.abc import MetaPathFinder
from importlib.machinery import ModuleSpec, PathFinder, SourceFileLoader
from types import CodeType, ModuleType

import hypothesis
import pytest

BUDGET_S = 10.0
"""Once tests of one fault have taken so long, it counts as not found. All times here are the
processor's: a busy machine must not make a fault look found."""
TEST_LIMIT_S = 40.0
"""A test that runs longer hangs; those chosen take an eighth of it at most."""
_GRACE_S = 900.0
"""For a process that neither works nor ends, by the clock."""
_PIECE = 1 << 16
_PLUGINS = ("no:cacheprovider", "_hypothesis_pytestplugin")
_QUIET = (
    "PytestConfigWarning",
    "PytestAssertRewriteWarning",
)  # of plugins left out, and imported before
_OPTIONS = (
    "-q",
    "-x",
    *(f"-p{name}" for name in _PLUGINS),
    *(f"-Wignore::pytest.{name}" for name in _QUIET),
)


@dataclass(frozen=True)
class Outcome:
    """``found``, ``hung`` or ``missed``; which test told, and how many were run."""

    kind: str
    test: str = ""
    run: int = 0


class _Faulty(MetaPathFinder, SourceFileLoader):
    """Gives the changed source for one module, and leaves all others alone."""

    def __init__(self, module: str, source: str) -> None:
        spec = PathFinder.find_spec(module, _folder_of(module))
        if spec is None or spec.origin is None:
            raise ModuleNotFoundError(module)
        SourceFileLoader.__init__(self, module, spec.origin)
        self._source = source

    def find_spec(
        self, fullname: str, path: Sequence[str] | None, target: ModuleType | None = None
    ) -> ModuleSpec | None:
        """The module's own place, loaded by this."""
        spec = PathFinder.find_spec(fullname, path) if fullname == self.name else None
        if spec is not None:
            spec.loader = self
        return spec

    def get_code(self, fullname: str) -> CodeType:
        """The changed source, compiled; neither read from nor written to a cache."""
        return compile(self._source, self.path, "exec", dont_inherit=True)


class _Telling:
    """Ends the run after its budget, and the process before any tidying up."""

    def __init__(self, pipe: int, budget_s: float) -> None:
        self._pipe, self._until = pipe, time.process_time() + budget_s
        self._run, self._found = 0, Outcome("missed")
        self._test = ""
        signal.signal(signal.SIGPROF, self._hung)
        self._wind_up()

    def _wind_up(self) -> None:
        signal.setitimer(signal.ITIMER_PROF, TEST_LIMIT_S)

    def _hung(self, *_: object) -> None:
        self._found = Outcome("hung", self._test, self._run)
        self.tell()

    def pytest_runtest_logstart(self, nodeid: str) -> None:
        """A test has its own limit."""
        self._test = nodeid
        self._wind_up()

    def pytest_collectreport(self, report: pytest.CollectReport) -> None:
        """A file that cannot be imported any more tells."""
        if report.failed:
            self._found = Outcome("found", report.nodeid)

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        """A failing test tells."""
        self._run += report.when == "call"
        if report.failed and self._found.kind == "missed":
            self._found = Outcome("found", report.nodeid, self._run)

    @pytest.hookimpl(trylast=True)
    def pytest_runtest_logfinish(self) -> None:
        """Stop when time is up."""
        if time.process_time() > self._until:
            self.tell()

    def pytest_sessionfinish(self) -> None:
        """The end."""
        self.tell()

    def tell(self, otherwise: str = "missed") -> None:
        """Send what is known and end."""
        told = self._found
        if told.kind == "missed":
            told = Outcome(otherwise, "", self._run)
        os.write(self._pipe, json.dumps([told.kind, told.test, told.run]).encode())
        os._exit(0)


def prepare() -> None:
    """Import once what every process needs; equal runs draw equal examples."""
    os.environ["MILLRACE_DATA"] = os.devnull  # no folder is made: nothing needs a database
    os.environ["PYTEST_DISABLE_PLUGIN_AUTOLOAD"] = "1"
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    import CoolProp.CoolProp  # noqa: F401
    import scipy.optimize
    import scipy.signal
    import scipy.stats  # noqa: F401
    import statsmodels.api  # noqa: F401

    # What a test found wrong need not be made small.
    phases = (hypothesis.Phase.explicit, hypothesis.Phase.generate)
    hypothesis.settings.register_profile(
        "mutation",
        derandomize=True,
        database=None,
        deadline=None,
        phases=phases,
        suppress_health_check=(hypothesis.HealthCheck.too_slow,),
    )
    hypothesis.settings.load_profile("mutation")


def outcome(
    tests: Sequence[str], fault: tuple[str, str] | None, budget_s: float = BUDGET_S
) -> Outcome:
    """What ``tests`` say of ``fault``, a module's name and its source; without one, of the code.

    A fault can change the names of tests that are made from the code's own lists; then none is run
    by its name, and their files are run whole.
    """
    told = _one(tests, fault, budget_s)
    if told.kind == "missed" and not told.run and tests:
        files = dict.fromkeys(test.partition("::")[0] for test in tests)
        told = _one(list(files), fault, budget_s)
    return told


def _one(tests: Sequence[str], fault: tuple[str, str] | None, budget_s: float) -> Outcome:
    reading, writing = os.pipe()
    child = os.fork()
    if not child:
        _run(tests, fault, writing, budget_s)
    os.close(writing)
    told = _wait(reading, child, budget_s + _GRACE_S)
    return Outcome(*json.loads(told)) if told else Outcome("hung")


def _wait(reading: int, child: int, limit_s: float) -> bytes:
    with os.fdopen(reading, "rb", buffering=0) as told:
        ready, _, _ = select.select([told], [], [], limit_s)
        if not ready:
            os.kill(child, signal.SIGKILL)
        os.waitpid(child, 0)
        return told.read(_PIECE) if ready else b""


def _run(tests: Sequence[str], fault: tuple[str, str] | None, pipe: int, budget_s: float) -> None:
    nothing = os.open(os.devnull, os.O_WRONLY)
    os.dup2(nothing, 1)
    os.dup2(nothing, 2)
    telling = _Telling(pipe, budget_s)
    try:
        if fault is not None:
            sys.meta_path.insert(0, _Faulty(*fault))
        pytest.main([*_OPTIONS, *tests], plugins=[telling])
    except BaseException:  # noqa: BLE001
        pass
    finally:
        telling.tell(otherwise="found")


def _folder_of(module: str) -> list[str] | None:
    package = module.rpartition(".")[0]
    if not package:
        return None
    spec = PathFinder.find_spec(package, _folder_of(package))
    return None if spec is None else list(spec.submodule_search_locations or [])
