"""The columns of a foreign log as a page shows them, and what the form says of them."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import polars as pl
from django.utils.translation import gettext as _

from diagnostics.channels import INDOOR, OUTDOOR, Channel, Quantity
from diagnostics.samples import FloatArray
from diagnostics.units import accepted_units
from fleet import asked
from fleet.ingest import circumstances, proposal, sniff
from fleet.ingest.mapping import NUMBERS, RFC_3339, Layout, Meaning, Time
from fleet.ingest.parse import Parsed, parse
from fleet.ingest.report import Complaint, RefusedError
from fleet.ingest.sniff import Look
from fleet.language import decimal
from fleet.models import LogMapping, System
from fleet.pages.logs import sparkline
from fleet.pages.units import Preference, number
from fleet.pages.words import NARROW
from fleet.said import say

FORMS = (RFC_3339, *sniff.FORMS, *NUMBERS)
WORDS_SHOWN = 4
COMPLAINTS_SHOWN = 8
OFTEN_USED = ("degC", "degF", "kPa(g)", "bar(g)", "psig", "rps", "Hz", "%", "pulses")


@dataclass(frozen=True)
class Row:
    """One column: what it holds, what it is taken for, and why."""

    index: int
    title: str
    picture: str
    values: str
    meant: str
    scale: str
    reasons: tuple[str, ...]
    taken: str


@dataclass(frozen=True)
class Preview:
    """What taking the sample in would give. ``refusal``: why it cannot be taken in at all."""

    refusal: str = ""
    parsed: Parsed | None = None

    @property
    def complaints(self) -> list[str]:
        """The first of them."""
        if self.parsed is None:
            return []
        return [_where(it) for it in self.parsed.report.complaints()[:COMPLAINTS_SHOWN]]


def preview(stored: LogMapping) -> Preview:
    """Read the sample as an upload would be read; nothing is kept."""
    layout = Layout.from_json(stored.layout)
    try:
        known = circumstances.of(stored.system)
        return Preview(parsed=parse(bytes(stored.sample), known, [layout]))
    except RefusedError as refusal:
        return Preview(_where(refusal.complaint))


def _where(complaint: Complaint) -> str:
    """Where in the file and what, in the reader's language."""
    line = _("line %(n)s") % {"n": complaint.line} if complaint.line else ""
    where = ", ".join(filter(None, (line, complaint.column)))
    return ": ".join(filter(None, (where, say(complaint.reason))))


def rows(stored: LogMapping, look: Look, seen: Preview, prefer: Preference) -> list[Row]:
    """All columns but those of the time, in the file's order."""
    layout = Layout.from_json(stored.layout)
    known = circumstances.of(stored.system)
    told = proposal.propose(look, known, proposal.rooms_of(stored.system))
    reasons = {it.title: it.reasons for it in told}
    taken = _taken(seen, stored.system, prefer)
    return [
        _row(i, column, layout, reasons.get(column.name, ()), taken.get(column.name, ""))
        for i, column in enumerate(look.columns)
        if column.name not in layout.time.titles
    ]


def _row(
    index: int, column: pl.Series, layout: Layout, reasons: tuple[str, ...], taken: str
) -> Row:
    plain = column.str.replace(",", ".", literal=True) if layout.decimal == "," else column
    numbers = plain.cast(pl.Float64, strict=False).fill_null(np.nan).to_numpy()
    meaning = layout.columns.get(column.name, Meaning(""))
    return Row(
        index,
        column.name,
        sparkline.path(numbers),
        _values(column, numbers),
        meaning.title,
        f"{meaning.scale:g}",
        tuple(decimal(say(reason)) for reason in reasons),
        taken,
    )


def _values(column: pl.Series, numbers: FloatArray) -> str:
    known = numbers[np.isfinite(numbers)]
    if known.size:
        ends = {"low": f"{known.min():.6g}", "high": f"{known.max():.6g}"}
        return decimal(_("%(low)s to %(high)s") % ends)
    words = column.drop_nulls().value_counts(sort=True).head(WORDS_SHOWN)
    return ", ".join(str(word)[:24] for word in words[column.name]) or _("empty")


def _taken(seen: Preview, system: System, prefer: Preference) -> dict[str, str]:
    """By title of the file: the range of what was taken in, in the reader's units."""
    if seen.parsed is None:
        return {}
    block, atmosphere_pa = seen.parsed.block, system.plant().atmospheric_pressure_pa
    found = {}
    for column in seen.parsed.columns.values():
        name, slot = column.channel.name, column.slot
        codes = block.outdoor[name] if slot is None else block.indoor[slot, name]
        values = column.channel.decode(codes)
        values = values[np.isfinite(values)]
        found[column.title] = _range(column.channel, values, prefer, atmosphere_pa)
    return found


def _range(channel: Channel, values: FloatArray, prefer: Preference, atmosphere_pa: float) -> str:
    if not values.size:
        return _("nothing")
    ends = np.array([values.min(), values.max()])
    if channel.choices:
        used = np.unique(values.astype(int))
        return ", ".join(channel.choices[int(i)] for i in used)
    if channel.quantity is Quantity.TEMPERATURE:
        return _span(prefer.temperature_of(ends), prefer.temperature_label)
    if channel.quantity is Quantity.PRESSURE:
        return _span(prefer.pressure_of(ends, atmosphere_pa), prefer.pressure_label)
    if channel.quantity is Quantity.OPENING:
        return _span(100.0 * ends, "%")
    return _span(ends, "rev/s" if channel.quantity is Quantity.SPEED else "")


def _span(ends: FloatArray, unit: str) -> str:
    low, high = (number(float(it), 0 if abs(it) >= 100 else 1) for it in ends)
    span = _("%(low)s to %(high)s") % {"low": low, "high": high}
    return f"{span}{NARROW}{unit}".rstrip()


def choices(system: System) -> list[str]:
    """Titles a column may be given: every channel of the system in the units often used."""
    codes = [f"{unit.code}/" for unit in system.indoor_in_order()]
    outdoor = [name for channel in OUTDOOR for name in _named(channel)]
    indoor = [f"{code}{name}" for code in codes for channel in INDOOR for name in _named(channel)]
    return outdoor + indoor


def _named(channel: Channel) -> list[str]:
    accepted = accepted_units(channel.quantity)
    used = [unit for unit in accepted if unit in OFTEN_USED]
    return [f"{channel.name} [{unit}]" for unit in used] or [channel.name]


def from_form(layout: Layout, sent: Mapping[str, Any]) -> Layout:
    """The layout as the form has it. Raises ValueError with what to correct."""
    times = tuple(t for key in ("time-1", "time-2") if (t := _title(layout, sent.get(key, ""))))
    form = sent.get("form", RFC_3339)
    if form not in FORMS:
        raise ValueError(_("Choose the form of the time from the list."))
    if not times:
        raise ValueError(_("Say which column holds the time."))
    columns = {}
    for i, title in enumerate(layout.titles):
        meant = str(sent.get(f"meant-{i}", "")).strip()
        if meant and title not in times:
            columns[title] = Meaning(meant, _scale(title, str(sent.get(f"scale-{i}", "1"))))
    time = Time(times, form, sent.get("utc") == "on")
    return replace(layout, time=time, columns=columns)


def _title(layout: Layout, text: str) -> str:
    index = asked.whole(text)
    return layout.titles[index] if index is not None and index < len(layout.titles) else ""


def _scale(title: str, text: str) -> float:
    try:
        scale = float(text.replace(",", ".") or "1")
    except ValueError:
        scale = math.nan
    if not 1e-6 <= abs(scale) <= 1e6:
        said = _("%(title)s: write what its numbers are multiplied by as a number.")
        raise ValueError(said % {"title": title})
    return scale
