"""Small faults to put into ``diagnostics/``, as Cosmic Ray makes them, and a sample of them.

Left out: what stands in annotations, which are not run; what is written like an operator, but is
none (the ``*`` of a signature); and an operator in exchange for one of another kind (``a * b`` to
``a >> b``, ``==`` to ``is``), which any test finds that comes by, or none can.
"""

from __future__ import annotations

import random
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import groupby
from pathlib import Path
from typing import Any

from cosmic_ray import plugins
from cosmic_ray.ast import ast_nodes, get_ast
from cosmic_ray.mutating import mutate_code

ROOT = Path(__file__).resolve().parents[2]
PACKAGE = "diagnostics"
_ARITHMETIC = {"Add", "Sub", "Mul", "Div", "FloorDiv", "Mod", "Pow"}
_IDENTITY = {"Is", "IsNot"}
_SHIFTS = {"LShift", "RShift"}
_KINDS = (_ARITHMETIC, _IDENTITY, _SHIFTS)
_TWO_SIDED = {"arith_expr", "term", "power", "expr", "and_expr", "xor_expr", "shift_expr"}
_ANNOTATED = {"annassign", "tfpdef", "funcdef"}


@dataclass(frozen=True)
class Mutant:
    """One small fault: where it stands, and which one it is of its operator's in the file."""

    path: str
    line: int
    column: int
    operator: str
    occurrence: int

    @property
    def module(self) -> str:
        """The name by which the file is imported."""
        return self.path.removesuffix(".py").replace("/", ".").removesuffix(".__init__")

    @property
    def place(self) -> tuple[str, int, int, str]:
        """Equal for all faults that change the same thing."""
        return self.path, self.line, self.column, self.operator.split("_")[0]

    def source(self) -> str:
        """The whole file with the fault in it."""
        operator = plugins.get_operator(self.operator)()
        changed = mutate_code((ROOT / self.path).read_text(), operator, self.occurrence)
        if changed is None:
            raise ValueError(f"{self} is no fault of this file")
        return str(changed)

    def told(self) -> str:
        """File, line, and the line as it is and as the fault makes it."""
        before = (ROOT / self.path).read_text().splitlines()
        after = self.source().splitlines()
        changed = next(i for i, line in enumerate(after) if line != before[i])
        name = self.operator.removeprefix("core/")
        return (
            f"{self.path}:{self.line} {name}\n"
            f"    - {before[changed].strip()}\n    + {after[changed].strip()}"
        )


def every() -> list[Mutant]:
    """All faults, in the order of files, operators and places."""
    return [
        mutant
        for path in sorted((ROOT / PACKAGE).rglob("*.py"))
        for mutant in _of_file(str(path.relative_to(ROOT)), get_ast(path.read_text()))
    ]


def sample(mutants: list[Mutant], size: int, seed: int) -> list[Mutant]:
    """At most ``size`` places, each as likely as any other, with one fault of each."""
    ordered = sorted(mutants, key=lambda mutant: (mutant.place, mutant.operator, mutant.occurrence))
    places = [list(faults) for _, faults in groupby(ordered, key=lambda mutant: mutant.place)]
    chance = random.Random(seed)
    return [chance.choice(faults) for faults in chance.sample(places, min(size, len(places)))]


def _of_file(path: str, tree: Any) -> Iterator[Mutant]:
    nodes = list(ast_nodes(tree))
    for name in plugins.operator_names():
        kind = plugins.get_operator(name)
        if kind.arguments() or not _within_its_kind(name):
            continue
        operator = kind()
        positions = ((node, at) for node in nodes for at in operator.mutation_positions(node))
        for occurrence, (node, (start, _)) in enumerate(positions):
            if _is_run(node, name):
                yield Mutant(path, start[0], start[1], name, occurrence)


def _within_its_kind(name: str) -> bool:
    if "ReplaceBinaryOperator" not in name and "ReplaceComparisonOperator" not in name:
        return True
    before, after = name.split("_")[-2:]
    return all((before in kind) == (after in kind) for kind in _KINDS)


def _is_run(node: Any, operator: str) -> bool:
    if "ReplaceBinaryOperator" in operator and node.parent.type not in _TWO_SIDED:
        return False
    while (parent := node.parent) is not None:
        if parent.type in _ANNOTATED and _is_annotation(node, parent):
            return False
        node = parent
    return True


def _is_annotation(node: Any, parent: Any) -> bool:
    if parent.type == "annassign":  # : annotation = value
        return bool(parent.children[1] is node)
    before = parent.children[parent.children.index(node) - 1]
    return node.type != "suite" and getattr(before, "value", None) in {":", "->"}
