"""Manifests with values of the wrong kind, keys too many and too few, and damaged text."""

from __future__ import annotations

import random

from fleet.ingest import manifest_rules as rules
from tests.fuzz import hostile
from tests.ingest.building import MANIFEST

VALUES = (
    "0",
    "-1",
    "1",
    "24",
    "5000",
    "1e400",
    "-inf",
    "nan",
    "1_0",
    "0x10",
    "0o7",
    "9" * 400,
    "9" * 5_000,
    "true",
    "false",
    "[]",
    "[1]",
    "[[[[]]]]",
    "{}",
    "{a = 1}",
    '""',
    '" "',
    '"R-410A"',
    '"Europe/Lisbon"',
    '"../UTC"',
    '"posixrules"',
    '"Etc/GMT+12"',
    "2026-01-05",
    "2026-01-05T00:00:00Z",
    "07:32:00",
    '"""a\nb"""',
    "'\\'",
    '"\\u0000"',
    '"\\ud800"',
    '"\\U0010ffff"',
    '"' + "é" * 300 + '"',
    "1." + "0" * 400,
    "-0.0",
    "5e-324",
)
KEYS = [*rules.CLIENT, *rules.SITE, *rules.SYSTEM, *rules.LIQUID_LINE, *rules.INDOOR]
TABLES = (
    "[client]",
    "[site]",
    "[[system]]",
    "[[system.indoor]]",
    "[[system.liquid_line]]",
    "[[site]]",
)
NESTED = (
    "a = " + "[" * 3_000,
    "a = " + "{a=" * 3_000,
    "a" + ".a" * 3_000 + " = 1",
    "[" + "a." * 3_000 + "a]",
)


def text(rng: random.Random) -> str:
    """One manifest."""
    if rng.random() < 0.002:
        return MANIFEST + rng.choice(NESTED)
    lines = MANIFEST.splitlines()
    for _ in range(rng.choice((0, 1, 1, 2, 4))):
        _change(rng, lines)
    if rng.random() < 0.2:
        raw = hostile.damaged(rng, "\n".join(lines).encode())
        return raw.decode(errors=rng.choice(("replace", "surrogateescape")))
    return "\n".join(lines)


def _change(rng: random.Random, lines: list[str]) -> None:
    at = rng.randrange(len(lines))
    name, _, _ = lines[at].partition(" = ")
    match rng.randrange(6):
        case 0:
            lines[at] = f"{name} = {rng.choice(VALUES)}"
        case 1:
            word = rng.choice(hostile.WORDS).replace("\\", "\\\\").replace('"', '\\"')
            lines[at] = f'{name} = "{word}"'
        case 2:
            lines[at] = f"{rng.choice(KEYS)} = {rng.choice(VALUES)}"
        case 3:
            del lines[at]
            lines.append("")
        case 4:
            lines.insert(at, rng.choice((*TABLES, lines[at])))
        case _:
            end = min(len(lines), at + rng.randrange(1, 9))
            lines[at:at] = lines[at:end] * rng.choice((1, 2, 70))
