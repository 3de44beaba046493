"""Imports go one way, and stand at the top of their module."""

from __future__ import annotations

import ast
import subprocess
import sys
from collections.abc import Iterator

from tests.structure import source


def test_the_import_contracts_hold() -> None:
    lint = (
        "from importlinter.cli import lint_imports; raise SystemExit(lint_imports(no_cache=True))"
    )
    outcome = subprocess.run(
        [sys.executable, "-c", lint], cwd=source.ROOT, capture_output=True, text=True, check=False
    )
    assert outcome.returncode == 0, outcome.stdout + outcome.stderr
    assert " 0 broken" in outcome.stdout, outcome.stdout


def test_no_function_imports_from_our_own_packages() -> None:
    hidden = [
        f"{path}:{statement.lineno} {ast.unparse(statement)}"
        for path in source.python_files(*source.PACKAGES)
        for node in source.functions(path)
        # Django loads models before it calls ready(), so only there may checks be imported late.
        if not (path.name == "apps.py" and node.name == "ready")
        for statement in own_imports(node)
    ]
    assert not hidden, "imports inside functions:\n  " + "\n  ".join(hidden)


def test_an_import_inside_a_function_is_found() -> None:
    function = ast.parse("def f():\n    import json\n    from fleet.models import Site").body[0]
    assert [ast.unparse(found) for found in own_imports(function)] == [
        "from fleet.models import Site"
    ]


def own_imports(node: ast.AST) -> Iterator[ast.Import | ast.ImportFrom]:
    for inner in ast.walk(node):
        if isinstance(inner, ast.Import):
            names = [alias.name for alias in inner.names]
        elif isinstance(inner, ast.ImportFrom):
            names = [inner.module or ""] if not inner.level else [source.PACKAGES[0]]
        else:
            continue
        if any(name.split(".")[0] in source.PACKAGES for name in names):
            yield inner
