"""What the columns of an unknown log probably are, from their titles and values, with reasons.

Titles say which quantity a column is; values say whether that can be, and in which unit. Nothing
is proposed from values alone: three temperatures look alike whatever pipe they were taken from.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import polars as pl

from diagnostics.channels import INDOOR_BY_NAME, OUTDOOR_BY_NAME, Channel, Quantity
from diagnostics.samples import FloatArray
from diagnostics.units import UnitError, accepted_units, to_inside
from fleet.ingest.circumstances import Circumstances
from fleet.ingest.mapping import Layout, Meaning
from fleet.ingest.sniff import Look
from fleet.models import System

VOCABULARY = Path(__file__).with_name("vocabulary.toml")
SCALES = (1.0, 0.1, 0.01, 10.0)
"""Loggers write tenths or hundredths without a point."""

LEAST_INSIDE = 0.9
_EXACT, _INSIDE_WEIGHT, _UNIT_SAID, _SCALED = 10.0, 1.0, 0.5, -0.4
_USUAL_UNITS = ("degC", "kPa(g)", "bar(g)", "rps", "Hz", "%", "pulses")


@dataclass(frozen=True)
class Room:
    """An indoor unit as a title may name it."""

    code: str
    room: str
    number: int


def rooms_of(system: System) -> list[Room]:
    """The indoor units of today, counted from 1 in the manifest's order."""
    units = enumerate(system.indoor_in_order(), start=1)
    return [Room(unit.code, unit.room, number) for number, unit in units]


@dataclass(frozen=True)
class Proposal:
    """What one column probably is.

    meant: a title of the contract, empty where nothing is proposed. score: how well it fits.
    """

    title: str
    meant: str
    scale: float
    score: float
    reasons: tuple[str, ...]


def propose(look: Look, circumstances: Circumstances, rooms: Sequence[Room]) -> list[Proposal]:
    """A proposal for every column but those of the time, in the file's order.

    Where two columns would be one channel, the better fit has it.
    """
    best = [
        _best(column, look.layout.decimal, circumstances, rooms)
        for column in look.columns
        if column.name not in look.layout.time.titles
    ]
    holders: dict[str, Proposal] = {}
    for proposal in sorted(best, key=lambda it: -it.score):
        if proposal.meant:
            holders.setdefault(_channel_of(proposal.meant), proposal)
    return [_kept(proposal, holders) for proposal in best]


def layout_of(look: Look, proposals: Sequence[Proposal]) -> Layout:
    """The layout that takes the proposals as they are."""
    columns = {it.title: Meaning(it.meant, it.scale) for it in proposals if it.meant}
    return replace(look.layout, columns=columns)


def _channel_of(meant: str) -> str:
    return meant.split(" [")[0]


def _kept(proposal: Proposal, holders: Mapping[str, Proposal]) -> Proposal:
    holder = holders.get(_channel_of(proposal.meant)) if proposal.meant else None
    if holder is None or holder is proposal:
        return proposal
    reason = f"“{holder.title}” fits {_channel_of(proposal.meant)} better"
    return Proposal(proposal.title, "", 1.0, 0.0, (reason,))


@dataclass(frozen=True)
class _Entry:
    """One channel of the vocabulary."""

    channel: Channel
    groups: tuple[frozenset[str], ...]
    forbidden: frozenset[str]
    usual: tuple[float, float]
    indoor: bool


@cache
def _vocabulary() -> tuple[tuple[_Entry, ...], dict[str, str]]:
    with VOCABULARY.open("rb") as file:
        raw = tomllib.load(file)
    units = {word: unit for unit, words in raw["units"].items() for word in words}
    outdoor = (
        _entry(OUTDOOR_BY_NAME[name], it, indoor=False) for name, it in raw["outdoor"].items()
    )
    indoor = (_entry(INDOOR_BY_NAME[name], it, indoor=True) for name, it in raw["indoor"].items())
    return (*outdoor, *indoor), units


def _entry(channel: Channel, raw: Mapping[str, Any], *, indoor: bool) -> _Entry:
    asked = [frozenset(w for w in group if not w.startswith("-")) for group in raw["words"]]
    forbidden = {w[1:] for group in raw["words"] for w in group if w.startswith("-")}
    low, high = raw["usual"]
    groups = tuple(group for group in asked if group)
    return _Entry(channel, groups, frozenset(forbidden), (float(low), float(high)), indoor)


def tokens(title: str) -> list[str]:
    """Lower-case words of a title, cut at case, digits and signs: ``TdCompA1`` is td comp a 1."""
    cut = re.sub(r"([a-zäöüß])([A-ZÄÖÜ])", r"\1 \2", title)
    return re.findall(r"[a-zäöüß]+|\d+|[°%℃]+[a-z]?", cut.lower())


def said_unit(title: str) -> str:
    """The unit a title names, in brackets or as its last word; with "?" for half a pressure."""
    _, units = _vocabulary()
    inside = re.findall(r"[\[(]\s*([^\[\]]+?)\s*[\])]\s*$", title)
    last = re.split(r"[\s_,;:]+", title.strip())[-1:]
    for text in (*inside, *last):
        if found := units.get(text.lower().strip("[] ")):
            return found
    return ""


def _best(
    column: pl.Series, decimal: str, circumstances: Circumstances, rooms: Sequence[Room]
) -> Proposal:
    numbers = _numbers(column, decimal)
    candidates = list(_candidates(column, numbers, circumstances, rooms))
    if candidates:
        return max(candidates, key=lambda proposal: proposal.score)
    return Proposal(column.name, "", 1.0, 0.0, (_why_nothing(column, numbers),))


def _numbers(column: pl.Series, decimal: str) -> FloatArray:
    plain = column.str.replace(",", ".", literal=True) if decimal == "," else column
    numbers = plain.cast(pl.Float64, strict=False).to_numpy()
    return np.asarray(numbers[np.isfinite(numbers)])


def _why_nothing(column: pl.Series, numbers: FloatArray) -> str:
    if not column.drop_nulls().len():
        return "it is empty"
    if not numbers.size:
        return "its title names no channel"
    return "its title names no channel, and numbers alone do not tell one pipe from another"


def _candidates(
    column: pl.Series, numbers: FloatArray, circumstances: Circumstances, rooms: Sequence[Room]
) -> Iterator[Proposal]:
    words = tokens(column.name)
    unit, named = said_unit(column.name), _room(column.name, rooms)
    entries, _ = _vocabulary()
    for entry in entries:
        fit, because = _fit(entry, words, column.name)
        if not fit or entry.indoor != (named is not None):
            continue
        prefix = f"{named[0].code}/" if named else ""
        reasons = [because, *([named[1]] if named else [])]
        if entry.channel.quantity in (Quantity.FLAG, Quantity.CHOICE):
            yield Proposal(column.name, prefix + entry.channel.name, 1.0, fit, tuple(reasons))
        elif numbers.size:
            found = _unit(entry, numbers, unit, circumstances)
            if found is not None:
                meant = f"{prefix}{entry.channel.name} [{found.unit}]"
                told = (*reasons, *found.reasons)
                yield Proposal(column.name, meant, found.scale, fit + found.score, told)


def _fit(entry: _Entry, words: Sequence[str], title: str) -> tuple[float, str]:
    """How well a title names a channel, 0 for not at all; and why."""
    if re.sub(r"\s*\[.*", "", title).split("/")[-1] == entry.channel.name:
        return _EXACT, "the title is the channel's own name"
    held = set(words)
    if held & entry.forbidden or not all(held & group for group in entry.groups):
        return 0.0, ""
    # Words in the title's order; more groups say more than one.
    matched = [word for word in words if any(word in group for group in entry.groups)]
    return float(len(entry.groups)), f"the title says {' '.join(dict.fromkeys(matched))}"


def _room(title: str, rooms: Sequence[Room]) -> tuple[Room, str] | None:
    """The indoor unit a title names: by its code, its room, or its number."""
    plain = " ".join(tokens(title))
    padded = f" {plain} "
    for room in sorted(rooms, key=lambda it: -len(it.code)):
        if f" {' '.join(tokens(room.code))} " in padded:
            return room, f"the title holds the code of indoor unit {room.code}"
    for room in rooms:
        if room.room and f" {' '.join(tokens(room.room))} " in padded:
            return room, f"the title names the room of {room.code}, {room.room}"
    numbered = re.search(r"\b(?:indoor|iu|idu|unit|fcu|innengerät|ig|raum) (\d+)\b", plain)
    match = (room for room in rooms if numbered and room.number == int(numbered[1]))
    found = next(match, None)
    return (found, f"the title counts to {found.number}: {found.code} by order") if found else None


@dataclass(frozen=True)
class _UnitFound:
    unit: str
    scale: float
    score: float
    reasons: tuple[str, ...]


def _unit(
    entry: _Entry, numbers: FloatArray, said: str, circumstances: Circumstances
) -> _UnitFound | None:
    """Unit and scale in which the values lie where this channel's usually do."""
    accepted = accepted_units(entry.channel.quantity)
    if said.endswith("?"):
        wanted = [unit for unit in accepted if unit.lower().startswith(said[:-1].lower())]
    else:
        wanted = [said] if said in accepted else list(accepted)
    tried = (
        found
        for unit in wanted
        for scale in SCALES
        if (found := _try(entry, numbers, (unit, scale, said), circumstances)) is not None
    )
    return max(tried, key=lambda found: found.score, default=None)


def _try(
    entry: _Entry,
    numbers: FloatArray,
    reading: tuple[str, float, str],
    circumstances: Circumstances,
) -> _UnitFound | None:
    unit, scale, said = reading
    try:
        with np.errstate(over="ignore"):  # an absurd number becomes inf, which is not usual
            inside = to_inside(entry.channel, unit, numbers * scale, circumstances.plant)
    except UnitError:
        return None
    low, high = entry.usual
    share = float(np.mean((inside >= low) & (inside <= high)))
    if share < LEAST_INSIDE:
        return None
    spread = float(np.ptp(inside)) / (high - low) if high > low else 0.0
    score = _INSIDE_WEIGHT * share + 0.2 * min(spread, 1.0)
    score += _UNIT_SAID * (said == unit) + _SCALED * (scale != 1.0) + 0.1 * (unit in _USUAL_UNITS)
    return _UnitFound(unit, scale, score, tuple(_unit_reasons(numbers, unit, scale, said)))


def _unit_reasons(numbers: FloatArray, unit: str, scale: float, said: str) -> Iterator[str]:
    span = f"values from {numbers.min():.6g} to {numbers.max():.6g}"
    times = f", times {scale:g}," if scale != 1.0 else ""
    yield f"{span}{times} are usual in {unit}"
    if said == unit:
        yield "the title says the unit"
    elif said.endswith("?"):
        yield "the title does not say whether gauge or absolute: look it up, please"
    else:
        yield "the title says no unit: look it up, please"
