"""The repository's own files, as the structure tests look at them."""

from __future__ import annotations

import ast
import subprocess
from collections.abc import Iterator
from functools import cache
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
PACKAGES = ("diagnostics", "fleet", "fixtures")
Function = ast.FunctionDef | ast.AsyncFunctionDef


@cache
def tracked() -> tuple[Path, ...]:
    """Files git tracks or would track, relative to the root; every file where there is no git."""
    listing = subprocess.run(
        ["git", "ls-files", "-z", "--cached", "--others", "--exclude-standard"],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    )
    if listing.returncode == 0:
        found = [Path(name) for name in listing.stdout.split("\0") if name]
    else:
        found = [path.relative_to(ROOT) for path in ROOT.rglob("*") if _is_ours(path)]
    return tuple(sorted(path for path in found if (ROOT / path).is_file()))


def _is_ours(path: Path) -> bool:
    parts = path.relative_to(ROOT).parts
    return not any(part.startswith(".venv") or part == "__pycache__" for part in parts)


def is_vendored(path: Path) -> bool:
    return path.parts[:3] in (("fleet", "static", "vendor"), ("tests", "browser", "vendor"))


def python_files(*tops: str) -> list[Path]:
    """Python files under the given top folders, without generated migrations."""
    return [
        path
        for path in tracked()
        if path.suffix == ".py"
        and (not tops or path.parts[0] in tops)
        and path.parts[:2] != ("fleet", "migrations")
    ]


def text(path: Path) -> str:
    return (ROOT / path).read_text(encoding="utf-8")


@cache
def tree(path: Path) -> ast.Module:
    return ast.parse(text(path), filename=str(path))


def functions(path: Path) -> Iterator[Function]:
    """Every function and method of a module, nested ones too."""
    for node in ast.walk(tree(path)):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            yield node


def length(node: Function) -> int:
    """Lines from ``def`` to the end, the docstring counted, decorators not."""
    return (node.end_lineno or node.lineno) - node.lineno + 1


def body_length(node: Function) -> int:
    """Lines of the body after the docstring."""
    body = node.body[1:] if ast.get_docstring(node) else node.body
    return (body[-1].end_lineno or 0) - body[0].lineno + 1 if body else 0


def parameters(node: Function) -> list[str]:
    """Names of the parameters, without self and cls."""
    arguments = node.args
    named = [*arguments.posonlyargs, *arguments.args, *arguments.kwonlyargs]
    named += [extra for extra in (arguments.vararg, arguments.kwarg) if extra]
    return [a.arg for a in named if a.arg not in ("self", "cls")]


def where(path: Path, node: ast.stmt, name: str = "") -> str:
    return f"{path}:{node.lineno} {name or getattr(node, 'name', '')}".rstrip()
