"""How a file that another logger wrote is read: which of its columns is what, in which unit.

A layout names every column it uses in the contract's own way (``A-101/room_temperature [degC]``),
so that whatever is known of titles, units and their faults holds for foreign files too.
"""

from __future__ import annotations

import csv
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, field, replace
from typing import Any

import polars as pl
from django.db import transaction

from diagnostics.channels import Quantity
from fleet.ingest import header as headers
from fleet.ingest.circumstances import Circumstances
from fleet.ingest.header import TIME, Column, Header
from fleet.ingest.report import RefusedError
from fleet.ingest.unpack import is_packed, pieces
from fleet.models import LogMapping, Upload, UploadState

RFC_3339, EPOCH_S, EPOCH_MS, SHEET_DAYS = "rfc3339", "epoch_s", "epoch_ms", "sheet_days"
NUMBERS = (EPOCH_S, EPOCH_MS, SHEET_DAYS)
"""Times that are numbers: seconds or milliseconds since 1970, days of a spreadsheet."""

SHEET_EPOCH_S = 25_569 * 86_400
"""From day 0 of spreadsheets, 30 December 1899, to 1970."""

RETRIED = 200
"""Refused uploads looked through when a mapping comes into use."""

BEGINNING = 256 * 1024
"""Bytes in which a header stands."""

FLAG_WORDS = {
    **dict.fromkeys(("1", "on", "true", "yes", "run", "running", "active"), "1"),
    **dict.fromkeys(("0", "off", "false", "no", "stop", "stopped", "inactive"), "0"),
}
CHOICE_WORDS = {
    "call": {"cooling": "cool", "heating": "heat", "stop": "off", "none": "off", "vent": "fan"},
    "reported_state": {
        "cool": "cooling",
        "heat": "heating",
        "stop": "off",
        "stopped": "off",
        "mixed": "simultaneous",
        "defrosting": "defrost",
        "oil return": "oil_return",
    },
}


@dataclass(frozen=True)
class Meaning:
    """What a column holds: a title of the contract, and what its numbers are multiplied by."""

    title: str
    scale: float = 1.0


@dataclass(frozen=True)
class Time:
    """Which columns make up the time, joined by a space; how it is written; whether it is UTC.

    A form without offset is the site's own time unless ``utc``.
    """

    titles: tuple[str, ...] = (TIME,)
    form: str = RFC_3339
    utc: bool = False


@dataclass(frozen=True)
class Layout:
    """How one kind of file is read. ``titles``: all of them, in order, made unique.

    columns: by title, those that are used. The default is the contract's own form.
    """

    titles: tuple[str, ...] = ()
    encoding: str = "utf-8"
    separator: str = ","
    skipped: int = 0
    decimal: str = "."
    time: Time = Time()
    columns: Mapping[str, Meaning] = field(default_factory=dict)

    def as_json(self) -> dict[str, Any]:
        """Plain types only, for storage."""
        return asdict(self)

    @classmethod
    def from_json(cls, raw: Mapping[str, Any]) -> Layout:
        """The layout ``as_json`` wrote."""
        time = Time(tuple(raw["time"]["titles"]), raw["time"]["form"], raw["time"]["utc"])
        columns = {title: Meaning(**it) for title, it in raw["columns"].items()}
        return cls(**{**raw, "titles": tuple(raw["titles"]), "time": time, "columns": columns})

    @property
    def foreign(self) -> bool:
        """Whether it is anything but the contract's own form."""
        return bool(self.titles)

    def fits(self, plain: bytes) -> bool:
        """Whether a file has exactly these titles."""
        return titles_of(plain, self) == self.titles

    def as_utf_8(self, plain: bytes) -> bytes:
        """The file's text. Raises RefusedError when it is not in the layout's encoding."""
        if self.encoding == "utf-8":
            return plain
        try:
            return plain.decode(self.encoding).encode()
        except UnicodeDecodeError as error:
            raise RefusedError(f"the file is not in {self.encoding}, as its kind is") from error

    def understand(self, titles: list[str], circumstances: Circumstances) -> Header:
        """The header in the terms of this system. Raises RefusedError as the contract's does."""
        if not self.foreign:
            return headers.understand(titles, circumstances)
        own = unique(titles)
        if missing := [title for title in self.time.titles if title not in own]:
            raise RefusedError(
                "no column is called so, as in files of this kind: lines may end in different ways",
                line=self.skipped + 1,
                column=missing[0],
            )
        times = tuple(own.index(title) for title in self.time.titles)
        meant = [self.columns[t].title if t in self.columns else "" for t in own]
        meant[times[0]] = TIME
        found = headers.understand(meant, circumstances)
        columns = tuple(
            replace(it, title=own[it.position], scale=self.columns[own[it.position]].scale)
            for it in found.columns
        )
        known = {*times, *(column.position for column in columns)}
        unknown = tuple(title for i, title in enumerate(own) if i not in known)
        return Header(times, columns, unknown)

    def times(self, cells: Sequence[pl.Series]) -> pl.Series:
        """Time cells as RFC 3339 writes them; what cannot be read stays as it is."""
        joined = cells[0] if len(cells) == 1 else cells[0] + " " + cells[1]
        if self.time.form == RFC_3339:
            return joined
        read = _numbered(joined, self) if self.time.form in NUMBERS else _written(joined, self.time)
        mark = "Z" if self.time.utc or self.time.form in (EPOCH_S, EPOCH_MS) else ""
        text = read.dt.strftime(f"%Y-%m-%dT%H:%M:%S%.6f{mark}")
        return pl.select(pl.coalesce(pl.lit(text), pl.lit(joined))).to_series()

    def cells(self, texts: pl.Series, column: Column) -> pl.Series:
        """Cells of a column in the contract's numbers and words."""
        if not self.foreign:
            return texts
        quantity = column.channel.quantity
        if quantity in (Quantity.FLAG, Quantity.CHOICE):
            words = CHOICE_WORDS.get(column.channel.name, FLAG_WORDS)
            return texts.str.strip_chars().str.to_lowercase().replace(words)
        return texts.str.replace(",", ".", literal=True) if self.decimal == "," else texts


OWN = Layout()
"""The contract's own form."""


def of_site(site_id: int) -> tuple[Layout, ...]:
    """Layouts of a site that are in use, newest first."""
    stored = LogMapping.objects.filter(site=site_id, in_use=True).values_list("layout", flat=True)
    return tuple(Layout.from_json(raw) for raw in stored)


def use(stored: LogMapping) -> int:
    """Read files of the site by this mapping from now on; how many refused uploads it fits.

    It takes the place of an older one with the same titles. Uploads that were refused for their
    titles are taken up again by the next sweep.
    """
    layout = Layout.from_json(stored.layout)
    with transaction.atomic():
        others = LogMapping.objects.filter(site=stored.site_id, in_use=True).exclude(pk=stored.pk)
        same = [it.pk for it in others if tuple(it.layout["titles"]) == layout.titles]
        others.filter(pk__in=same).update(in_use=False)
        stored.in_use = True
        stored.save(update_fields=("in_use", "layout"))
        refused = Upload.objects.filter(system__site=stored.site_id, state=UploadState.REFUSED)
        newest = refused.order_by("-received_at")[:RETRIED]
        fitting = [it.pk for it in newest.iterator(chunk_size=1) if _fits(layout, bytes(it.body))]
        return Upload.objects.filter(pk__in=fitting).store_anew()


def _fits(layout: Layout, body: bytes) -> bool:
    try:
        return layout.fits(next(pieces(body), b"") if is_packed(body) else body)
    except RefusedError:
        return False


def choose(plain: bytes, layouts: Sequence[Layout]) -> Layout:
    """The first layout whose titles are the file's; the contract's own form when none is."""
    return next((layout for layout in layouts if layout.fits(plain)), OWN)


def titles_of(plain: bytes, layout: Layout) -> tuple[str, ...]:
    """The unique titles that a file has if it is read with the layout's separator and so on."""
    text = plain[:BEGINNING].decode(layout.encoding, errors="replace").removeprefix("\ufeff")
    lines = text.splitlines()[layout.skipped :]
    rows = csv.reader(lines, delimiter=layout.separator)
    try:
        return tuple(unique([title.strip() for title in next(rows, [])]))
    except csv.Error:
        return ()


def unique(titles: Sequence[str]) -> list[str]:
    """Titles with a number behind those that come again, and a name for those without."""
    seen: Counter[str] = Counter()
    named = []
    for position, title in enumerate(titles, start=1):
        name = title or f"column {position}"
        seen[name] += 1
        named.append(f"{name} ({seen[name]})" if seen[name] > 1 else name)
    return named


def _written(texts: pl.Series, time: Time) -> pl.Series:
    return texts.str.strip_chars().str.strptime(pl.Datetime("us"), time.form, strict=False)


def _numbered(texts: pl.Series, layout: Layout) -> pl.Series:
    plain = texts.str.replace(",", ".", literal=True) if layout.decimal == "," else texts
    numbers = plain.str.strip_chars().cast(pl.Float64, strict=False)
    if layout.time.form == EPOCH_MS:
        numbers = numbers / 1e3
    elif layout.time.form == SHEET_DAYS:
        numbers = numbers * 86_400 - SHEET_EPOCH_S
    sane = pl.select(pl.when(numbers.abs() < 1e11).then(numbers)).to_series()
    # Spreadsheets keep days to about a millisecond.
    milliseconds = (sane * 1e3).round().cast(pl.Int64)
    return milliseconds.cast(pl.Datetime("ms")).cast(pl.Datetime("us"))
