"""What a site's manifest may say: every key with its type and range, as data."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any
from zoneinfo import available_timezones

from diagnostics.plant import BranchSide, Refrigerant

Table = dict[str, Any]
Check = Callable[[Any], str | None]
"""Says what is wrong with a value, or None."""


@dataclass(frozen=True)
class Key:
    """One key of a table.

    per_unit: factor from the manifest's unit to SI; field: name of the model's field, if another.
    """

    check: Check
    required: bool = True
    per_unit: float | None = None
    field: str | None = None


def _text(most: int) -> Check:
    def check(value: Any) -> str | None:
        if not isinstance(value, str) or not value.strip():
            return "must be text in quotes"
        if not value.isprintable():
            return "must not hold line breaks or other control characters"
        return f"has {len(value)} characters, at most {most} fit" if len(value) > most else None

    return check


def _code(allowed: str, most: int) -> Check:
    pattern = re.compile(f"[{allowed}]{{1,{most}}}")

    def check(value: Any) -> str | None:
        if isinstance(value, str) and pattern.fullmatch(value):
            return None
        return f"must be text of 1 to {most} characters out of {allowed}"

    return check


def _one_of(choices: tuple[str, ...]) -> Check:
    def check(value: Any) -> str | None:
        return None if value in choices else f"must be one of {', '.join(choices)}"

    return check


def _number(low: float, high: float, *, above_low: bool = True, whole: bool = False) -> Check:
    kind = "a whole number" if whole else "a number"
    bounds = f"above {low:g} and up to {high:g}" if above_low else f"from {low:g} to {high:g}"

    def check(value: Any) -> str | None:
        wanted = (int,) if whole else (int, float)
        # bool is an int to Python, never a number to the writer of a manifest
        if isinstance(value, bool) or not isinstance(value, wanted):
            return f"must be {kind}"
        fits = (value > low if above_low else value >= low) and value <= high
        return None if fits and math.isfinite(value) else f"must be {bounds}"

    return check


def _timezone(value: Any) -> str | None:
    if isinstance(value, str) and value in available_timezones():
        return None
    return "must be an IANA time zone such as Europe/Lisbon"


UNIT_CODE = _code("A-Za-z0-9-", 24)
CLIENT: dict[str, Key] = {"code": Key(_code("a-z0-9-", 48)), "name": Key(_text(200))}
SITE: dict[str, Key] = {
    "code": Key(_code("a-z0-9-", 48)),
    "name": Key(_text(200)),
    "timezone": Key(_timezone),
    # The formula of ISO 2533 that gives the local pressure holds in the troposphere.
    "altitude_m": Key(_number(-500, 5_000, above_low=False), required=False, per_unit=1.0),
}
SYSTEM: dict[str, Key] = {
    "code": Key(UNIT_CODE),
    "refrigerant": Key(_one_of(tuple(Refrigerant))),
    "cooling_capacity_kw": Key(_number(0, 1_000), per_unit=1e3, field="cooling_capacity_w"),
    "compressor_displacement_cm3": Key(
        _number(0, 5_000), per_unit=1e-6, field="compressor_displacement_m3"
    ),
    "compressor_max_speed_rps": Key(_number(0, 250), per_unit=1.0),
    "motor_pole_pairs": Key(
        _number(1, 24, above_low=False, whole=True), required=False, per_unit=1.0
    ),
    "subcooler_valve_full_pulses": Key(_number(0, 10_000), per_unit=1.0),
    "subcooler_valve_full_area_mm2": Key(
        _number(0, 200), required=False, per_unit=1e-6, field="subcooler_valve_full_area_m2"
    ),
    "subcooler_branch_side": Key(_one_of(tuple(BranchSide)), required=False),
    "rated_charge_kg": Key(_number(0, 1_000), required=False, per_unit=1.0),
}
LIQUID_LINE: dict[str, Key] = {
    "inside_diameter_mm": Key(_number(0, 100), per_unit=1e-3, field="inside_diameter_m"),
    "length_m": Key(_number(0, 5_000), per_unit=1.0),
}
INDOOR: dict[str, Key] = {
    "code": Key(UNIT_CODE),
    "cooling_capacity_kw": Key(_number(0, 200), per_unit=1e3, field="cooling_capacity_w"),
    "room": Key(_text(120), required=False),
    "room_volume_m3": Key(_number(0, 1e6), required=False, per_unit=1.0),
    "elevation_m": Key(_number(-300, 300, above_low=False), required=False, per_unit=1.0),
}


def problems(manifest: Table) -> Iterator[str]:
    """Everything wrong with a manifest, each with its place, its key and what to do."""
    yield from _unknown(manifest, {"client", "site", "system"}, "the manifest")
    yield from _one_table(manifest, "client", CLIENT)
    yield from _one_table(manifest, "site", SITE)
    systems, wrong = _list(manifest, "system", "the manifest", "[[system]]")
    yield from wrong
    yield from _repeated(systems, "[[system]]")
    for number, system in enumerate(systems, 1):
        yield from _system(system, f"[[system]] {_called(system, number)}")


def _system(system: Table, place: str) -> Iterator[str]:
    yield from _keys(system, SYSTEM, place, {"liquid_line", "indoor"})
    if "liquid_line" in system:
        lines, wrong = _list(system, "liquid_line", place, "[[system.liquid_line]]")
        yield from wrong
        for number, line in enumerate(lines, 1):
            yield from _keys(line, LIQUID_LINE, f"{place}, [[system.liquid_line]] {number}")
    units, wrong = _list(system, "indoor", place, "[[system.indoor]]")
    yield from wrong
    yield from _repeated(units, f"{place}, [[system.indoor]]")
    for number, unit in enumerate(units, 1):
        yield from _keys(unit, INDOOR, f"{place}, [[system.indoor]] {_called(unit, number)}")


def _one_table(manifest: Table, name: str, keys: Mapping[str, Key]) -> Iterator[str]:
    if isinstance(found := manifest.get(name), dict):
        yield from _keys(found, keys, f"[{name}]")
    else:
        yield f"the manifest: [{name}] is missing: add it with {', '.join(_required(keys))}"


def _list(table: Table, name: str, place: str, written: str) -> tuple[list[Table], list[str]]:
    found = table.get(name, [])
    if not isinstance(found, list) or not all(isinstance(each, dict) for each in found):
        return [], [f"{place}: {name} must be written as {written} for each"]
    return found, [] if found else [f"{place}: at least one {written} is needed: add it"]


def _keys(
    table: Table, keys: Mapping[str, Key], place: str, tables: set[str] | None = None
) -> Iterator[str]:
    yield from _unknown(table, {*keys, *(tables or set())}, place)
    for name in _required(keys):
        if name not in table:
            yield f"{place}: {name} is missing: add it"
    for name, key in keys.items():
        if name in table and (wrong := key.check(table[name])):
            yield f"{place}: {name} = {_shown(table[name])}: {wrong}"


def _unknown(table: Table, known: set[str], place: str) -> Iterator[str]:
    for name in table:
        if name not in known:
            yield f"{place}: unknown key {name!r}: remove it; known are {', '.join(sorted(known))}"


def _repeated(tables: list[Table], place: str) -> Iterator[str]:
    codes = [table.get("code") for table in tables]
    for code in dict.fromkeys(code for code in codes if isinstance(code, str)):
        if codes.count(code) > 1:
            yield f"{place}: code {code!r} stands {codes.count(code)} times: give each its own"


def _required(keys: Mapping[str, Key]) -> list[str]:
    return [name for name, key in keys.items() if key.required]


def _called(table: Table, number: int) -> str:
    code = table.get("code")
    return repr(code) if isinstance(code, str) else f"number {number}"


def _shown(value: Any) -> str:
    return repr(value) if isinstance(value, str | int | float) else f"a {type(value).__name__}"
