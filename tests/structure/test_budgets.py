"""Ceilings on size: what grows past them is split, not squeezed."""

from __future__ import annotations

import ast

from tests.structure import source

MODULE_LINES = 400
FUNCTION_LINES = 60
PARAMETERS = 6
VIEW_LINES = 30
TASK_LINES = 10
TEMPLATE_LINES = 120


def test_no_module_is_longer_than_the_ceiling() -> None:
    lengths = {path: len(source.text(path).splitlines()) for path in source.python_files()}
    assert lengths, "no Python file was found"
    too_long = [f"{path}: {lines} lines" for path, lines in lengths.items() if lines > MODULE_LINES]
    assert not too_long, _listing(too_long)


def test_no_function_is_longer_than_the_ceiling() -> None:
    too_long = [
        f"{source.where(path, node)}: {source.length(node)} lines"
        for path in source.python_files()
        for node in source.functions(path)
        if source.length(node) > FUNCTION_LINES
    ]
    assert not too_long, _listing(too_long)


def test_no_function_takes_too_many_parameters() -> None:
    too_many = [
        f"{source.where(path, node)}: {len(source.parameters(node))} parameters"
        for path in source.python_files()
        for node in source.functions(path)
        if len(source.parameters(node)) > PARAMETERS
    ]
    assert not too_many, _listing(too_many)


def test_views_stay_short() -> None:
    views = [
        (path, node)
        for path in source.python_files("fleet")
        if path.parts[1] in ("pages", "api")
        for node in source.functions(path)
        if source.parameters(node)[:1] == ["request"]
    ]
    assert views, "no view was found under fleet/pages"
    too_long = [
        f"{source.where(path, node)}: {source.length(node)} lines"
        for path, node in views
        if source.length(node) > VIEW_LINES
    ]
    assert not too_long, _listing(too_long)


def test_task_bodies_claim_call_and_record_only() -> None:
    tasks = [
        (path, node)
        for path in source.python_files("fleet")
        if path.name == "tasks.py"
        for node in source.functions(path)
        if any("task" in ast.unparse(decorator) for decorator in node.decorator_list)
    ]
    assert tasks, "no Celery task was found in fleet/tasks.py"
    too_long = [
        f"{source.where(path, node)}: {source.body_length(node)} lines"
        for path, node in tasks
        if source.body_length(node) > TASK_LINES
    ]
    assert not too_long, _listing(too_long)


def test_templates_stay_short() -> None:
    templates = [
        path
        for path in source.tracked()
        if "templates" in path.parts and path.suffix in (".html", ".txt", ".svg")
    ]
    assert templates, "no template was found"
    too_long = [
        f"{path}: {lines} lines"
        for path in templates
        if (lines := len(source.text(path).splitlines())) > TEMPLATE_LINES
    ]
    assert not too_long, _listing(too_long)


def test_every_function_declares_what_it_returns() -> None:
    silent = [
        source.where(path, node)
        for path in source.python_files()
        for node in source.functions(path)
        if node.returns is None
    ]
    assert not silent, _listing(silent)


def test_every_package_and_module_says_what_it_is_for() -> None:
    silent = [
        str(path)
        for path in source.python_files(*source.PACKAGES)
        if not ast.get_docstring(source.tree(path))
    ]
    assert not silent, _listing(silent)


def _listing(faults: list[str]) -> str:
    return "over the budget:\n  " + "\n  ".join(faults)
