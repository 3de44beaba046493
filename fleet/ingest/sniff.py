"""What a file of unknown make looks like: encoding, separator, header, decimal mark, time."""

from __future__ import annotations

import csv
import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from itertools import pairwise

import numpy as np
import polars as pl

from fleet.ingest.limits import MAX_COLUMNS
from fleet.ingest.mapping import (
    BEGINNING,
    EPOCH_MS,
    EPOCH_S,
    RFC_3339,
    SHEET_DAYS,
    Layout,
    Time,
    unique,
)
from fleet.ingest.report import RefusedError
from fleet.ingest.unpack import is_packed, pieces

SEPARATORS = (",", ";", "\t", "|")
SAMPLE_BYTES = 1 << 20
LINES_LOOKED_AT = 60
ROWS_LOOKED_AT = 400
FORMS = (
    "%Y-%m-%d %H:%M:%S",
    "%Y-%m-%d %H:%M",
    "%Y-%m-%dT%H:%M",
    "%Y/%m/%d %H:%M:%S",
    "%Y/%m/%d %H:%M",
    "%d.%m.%Y %H:%M:%S",
    "%d.%m.%Y %H:%M",
    "%d.%m.%y %H:%M:%S",
    "%d/%m/%Y %H:%M:%S",
    "%d/%m/%Y %H:%M",
    "%m/%d/%Y %H:%M:%S",
    "%m/%d/%Y %H:%M",
    "%m/%d/%Y %I:%M:%S %p",
    "%m/%d/%Y %I:%M %p",
    "%d-%m-%Y %H:%M:%S",
    "%d-%m-%Y %H:%M",
    "%d-%b-%Y %H:%M:%S",
    "%d %b %Y %H:%M:%S",
    "%Y%m%d %H%M%S",
    "%Y%m%d%H%M%S",
)
NUMBER_FORMS = {EPOCH_S: (9.4e8, 4.1e9), EPOCH_MS: (9.4e11, 4.1e12), SHEET_DAYS: (36_526, 73_050)}
"""The years 2000 to 2099 as each of them writes them."""

_NUMBER = re.compile(r"[ \t]*[-+]?\d+(?:[.,]\d+)?(?:[eE][-+]?\d+)?[ \t]*")
_COMMA_NUMBER = re.compile(r"[ \t]*[-+]?\d+,\d+[ \t]*")
_POINT_NUMBER = re.compile(r"[ \t]*[-+]?\d+\.\d+[ \t]*")
_READ_SHARE = 0.98
_YEARS_US = (946_684_800_000_000, 4_102_444_800_000_000)


@dataclass(frozen=True, eq=False)
class Look:
    """A file's beginning: how it is laid out, and its cells by column, as text.

    The layout names no column yet; its time has no titles where none was found.
    """

    layout: Layout
    columns: tuple[pl.Series, ...]
    reasons: tuple[str, ...]


def beginning(body: bytes) -> bytes:
    """The first rows of a file, gzip or not, to look at. Raises RefusedError on broken gzip."""
    if not is_packed(body):
        plain = body[:SAMPLE_BYTES]
    else:
        plain, rest = b"", pieces(body)
        while len(plain) < SAMPLE_BYTES and (piece := next(rest, b"")):
            plain += piece
        plain = plain[:SAMPLE_BYTES]
    whole = plain.rfind(b"\n") + 1
    return plain[:whole] if len(plain) == SAMPLE_BYTES and whole else plain


def look(plain: bytes) -> Look:
    """Look at the beginning of a file. Raises RefusedError where it is no table."""
    first = plain[:BEGINNING]
    encoding = _encoding(first)
    text = first.decode(encoding, errors="replace").removeprefix("\ufeff")
    lines = text.splitlines()
    if len(plain) > BEGINNING:
        lines = lines[:-1]  # perhaps half a line
    separator = _separator(lines)
    skipped, width = _header(lines, separator)
    rows = _rows(lines[skipped + 1 :], separator, width)
    if not rows:
        raise RefusedError("no table was found: there are no rows with as many cells as a header")
    titles = unique([title.strip() for title in _cells(lines[skipped], separator)])
    columns = tuple(
        pl.Series(title, cells, dtype=pl.String).str.strip_chars().replace("", None)
        for title, cells in zip(titles, zip(*rows, strict=True), strict=True)
    )
    decimal = "," if separator != "," and _decimal_comma(rows) else "."
    time = find_time(columns, decimal)
    layout = Layout(tuple(titles), encoding, separator, skipped, decimal, time, {})
    return Look(layout, columns, tuple(_reasons(layout, len(rows))))


def _encoding(first: bytes) -> str:
    if first.startswith((b"\xff\xfe", b"\xfe\xff")):
        return "utf-16"
    try:
        # The cut may have gone through a character.
        first[: max(len(first) - 4, 0)].decode()
    except UnicodeDecodeError:
        return "cp1252"
    return "utf-8"


def _separator(lines: Sequence[str]) -> str:
    """The one that cuts most lines into the same, largest number of cells."""

    def agreement(separator: str) -> tuple[int, int]:
        counts = Counter(len(_cells(line, separator)) for line in lines[:LINES_LOOKED_AT])
        common = [(times, cells) for cells, times in counts.items() if cells > 1]
        return max(common, default=(0, 0))

    return max(SEPARATORS, key=agreement)


def _cells(line: str, separator: str) -> list[str]:
    try:
        return next(csv.reader([line], delimiter=separator), [])
    except csv.Error:
        return []


def _header(lines: Sequence[str], separator: str) -> tuple[int, int]:
    """Line of the header from 0, and its width: the first of the usual width, mostly words."""
    looked = [_cells(line, separator) for line in lines[:LINES_LOOKED_AT]]
    widths = Counter(len(cells) for cells in looked if len(cells) > 1)
    if not widths:
        raise RefusedError("no table was found: no line has two cells or more")
    width = widths.most_common(1)[0][0]
    if width > MAX_COLUMNS:
        raise RefusedError(f"the file has {width} columns, the limit is {MAX_COLUMNS}")
    for at, cells in enumerate(looked):
        if len(cells) == width and sum(map(_is_number, cells)) <= width // 3 and any(cells):
            return at, width
    raise RefusedError("no header was found: give the columns names in the first line")


def _is_number(cell: str) -> bool:
    return _NUMBER.fullmatch(cell) is not None


def _rows(lines: Sequence[str], separator: str, width: int) -> list[list[str]]:
    cut = (_cells(line, separator) for line in lines)
    return [cells for cells in cut if len(cells) == width and any(map(_is_number, cells))]


def _decimal_comma(rows: Sequence[Sequence[str]]) -> bool:
    cells = [cell for row in rows[:ROWS_LOOKED_AT] for cell in row]
    commas = sum(_COMMA_NUMBER.fullmatch(cell) is not None for cell in cells)
    return commas > sum(_POINT_NUMBER.fullmatch(cell) is not None for cell in cells)


def find_time(columns: Sequence[pl.Series], decimal: str = ".") -> Time:
    """The column, or the two neighbours, whose cells read as time; no titles where none do.

    Of the forms that read all cells (is 3/4 in March or in April?), the one whose steps are most
    alike wins.
    """
    heads = [column.head(ROWS_LOOKED_AT) for column in columns]
    alone = [((column.name,), column) for column in heads]
    pairs = [((a.name, b.name), a + " " + b) for a, b in pairwise(heads)]
    for candidates in (alone, pairs):
        for titles, texts in candidates:
            if form := _form(texts.drop_nulls(), decimal):
                return Time(titles, form)
    return Time((), RFC_3339)


def example(form: str) -> str:
    """How a form writes the last minute of 2026."""
    moment = datetime(2026, 12, 31, 23, 59, 0, tzinfo=UTC)
    known = {
        RFC_3339: "2026-12-31T23:59:00+01:00",
        EPOCH_S: f"{moment.timestamp():.0f}, seconds since 1970",
        EPOCH_MS: f"{moment.timestamp() * 1e3:.0f}, milliseconds since 1970",
        SHEET_DAYS: "46387.99931, days of a spreadsheet",
    }
    return known.get(form) or moment.strftime(form)


def _form(texts: pl.Series, decimal: str) -> str | None:
    if not len(texts):
        return None
    pattern = r"^\d{4}-\d\d-\d\d[Tt ]\d\d:\d\d:\d\d(\.\d+)?([Zz]|[+-]\d\d:\d\d)?$"
    if float(texts.str.contains(pattern).mean() or 0) >= _READ_SHARE:  # type: ignore[arg-type]
        return RFC_3339
    read = [(form, unevenness) for form in FORMS if (unevenness := _unevenness(texts, form)) >= 0]
    if read:
        return min(read, key=lambda pair: pair[1])[0]
    plain = texts.str.replace(",", ".", literal=True) if decimal == "," else texts
    numbers = plain.cast(pl.Float64, strict=False).to_numpy()
    for form, (low, high) in NUMBER_FORMS.items():
        inside = (numbers > low) & (numbers < high)
        if inside.mean() >= _READ_SHARE and np.all(np.diff(numbers[inside]) >= 0):
            return form if np.ptp(numbers[inside]) > 0 else None
    return None


def _unevenness(texts: pl.Series, form: str) -> float:
    """How unlike the steps between times are; -1 where the form does not read them."""
    stamps = texts.str.strptime(pl.Datetime("us"), form, strict=False).drop_nulls()
    if len(stamps) < _READ_SHARE * len(texts):
        return -1.0
    micros = stamps.cast(pl.Int64).to_numpy()
    if np.any((micros < _YEARS_US[0]) | (micros > _YEARS_US[1])):
        return -1.0
    steps = np.abs(np.diff(micros))
    if not steps.size or not (middle := float(np.median(steps))):
        return 0.0
    return float(np.mean(np.abs(steps - middle) > 0.5 * middle))


def _reasons(layout: Layout, rows: int) -> list[str]:
    names = {",": "commas", ";": "semicolons", "\t": "tabs", "|": "bars"}
    said = [f"Cells are separated by {names[layout.separator]}; {rows} rows were looked at."]
    if layout.skipped:
        said.append(f"The header stands in line {layout.skipped + 1}; lines above are passed over.")
    if layout.decimal == ",":
        said.append("Decimals are written with a comma.")
    if layout.encoding != "utf-8":
        said.append(f"The text is in {layout.encoding}.")
    if layout.time.titles:
        where = " and ".join(f"“{title}”" for title in layout.time.titles)
        said.append(f"Time is in {where}, written as {example(layout.time.form)}.")
    else:
        said.append("No column reads as a time: name it below.")
    return said
