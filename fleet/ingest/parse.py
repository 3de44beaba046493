"""From the body of an upload to samples and a report: unpack, read, validate.

Rows and their times are read first. Cells follow when they are asked for: all at once, or piece
by piece while the database works on the piece before.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import polars as pl
from numpy.typing import NDArray

from diagnostics.channels import EMPTY
from fleet.ingest import cells, clock, mapping
from fleet.ingest.circumstances import Circumstances
from fleet.ingest.clock import Fault
from fleet.ingest.header import Column, Header
from fleet.ingest.limits import MAX_REASONS, MAX_WEEKS
from fleet.ingest.mapping import Layout
from fleet.ingest.plan import Plan
from fleet.ingest.report import SHOWN_TITLE, RefusedError, Report, shown
from fleet.ingest.rows import Flags, Offsets, PlainRows, Rows, name
from fleet.ingest.table import Table
from fleet.ingest.unpack import unpack
from fleet.timeseries.block import Block, Codes, Stream

PIECE_BYTES = (96 * 1024, 1024 * 1024)
"""Of the first piece and of the largest; each is read while the piece before is written. Smaller
ones start sooner and cost more in all."""


@dataclass(frozen=True, eq=False)
class Parsed:
    """An upload read.

    lines: first line of each instant of the block, shape (n,).
    columns: name of the stored column -> column of the file.
    """

    block: Block
    report: Report
    lines: Offsets
    columns: Mapping[str, Column]


def parse(body: bytes, circumstances: Circumstances, layouts: Sequence[Layout] = ()) -> Parsed:
    """Read an upload, gzip or not. Bad rows and cells are left out, counted and listed.

    layouts: of the site's foreign logs; one whose titles are the file's says how to read it.

    Raises RefusedError if it cannot be read at all; the reason says where and what to do.
    """
    reading = begin(body, circumstances, layouts)
    block = reading.block()
    return Parsed(block, reading.report, reading.lines, reading.columns)


def begin(body: bytes, circumstances: Circumstances, layouts: Sequence[Layout] = ()) -> Reading:
    """Read the rows of an upload and their times; cells come later, and no refusal with them.

    Raises RefusedError as ``parse`` does.
    """
    plain = unpack(body)
    layout = mapping.choose(plain, layouts)
    table = Table(layout.as_utf_8(plain), layout.separator, layout.skipped)
    header = layout.understand(table.header, circumstances)
    reading = Reading(header, circumstances, layout)
    wanted = [*header.time, *(column.position for column in header.columns)]
    for rows in table.batches(wanted, reading.report):
        reading.take(rows)
    reading.settle()
    return reading


class Reading:
    """One file under way.

    time: its instants once settled, ascending, shape (n,); lines: first line of each.
    columns: name of the stored column -> column of the file.
    """

    time: NDArray[np.datetime64]
    lines: Offsets

    def __init__(self, header: Header, circumstances: Circumstances, layout: Layout) -> None:
        """Of a file with this header, nothing read yet."""
        self.header, self.circumstances, self.layout = header, circumstances, layout
        self.columns = {column.stored: column for column in header.columns}
        unknown = [shown(title, SHOWN_TITLE) for title in header.unknown]
        self.report = Report(unknown_columns=unknown)
        self._times: list[clock.Readings] = []
        self._row_lines: list[Offsets] = []
        self._rows: list[PlainRows] = []
        self._codes: list[Codes] = []

    def _plan(self, columns: Sequence[Column]) -> Plan:
        """What columns may be read as at once: all, where nobody has to edit their cells."""
        edited = self.layout.decimal == ","
        return Plan(columns, foreign=self.layout.foreign, as_text=edited)

    def take(self, rows: Rows) -> None:
        """Read the times of some rows; those without an instant are left out with their cells."""
        times = self._plain_times(rows)
        if times is None:
            texts = self.layout.times([rows.text(at) for at in self.header.time])
            times = clock.read(texts, self.circumstances.zone)
            self._complain_of_rows(rows.lines, texts, times)
        good = times.fault == Fault.NONE
        rows = rows.only(good)
        self._times.append(times.only(good))
        self._row_lines.append(rows.lines)
        if not rows.lines.size:
            return
        if isinstance(rows, PlainRows):
            self._rows.append(rows)
        else:  # cut already, and codes take much less room
            self._codes.append(self._code(rows, self._plan(self.header.columns)))

    def _plain_times(self, rows: Rows) -> clock.Readings | None:
        """Times of rows that are written as most loggers do: there is nothing to take apart."""
        if self.layout.time.form != mapping.RFC_3339 or self.header.time != (0,):
            return None
        cells = rows.first_cells() if isinstance(rows, PlainRows) else None
        return None if cells is None else clock.read_plain(cells)

    def _code(self, rows: Rows, plan: Plan) -> Codes:
        """Codes of the columns of a plan, shape (columns, rows); bad cells are complained of."""
        frame, as_planned = rows.cut(plan.kinds)
        plant = self.circumstances.plant
        coded, doubtful = plan.code(frame, as_planned=as_planned, plant=plant)
        codes, nonsense, outside = coded
        for number in doubtful:
            column = plan.columns[number]
            done = cells.code_text(self._text(rows, frame, column), column, plant)
            codes[number], nonsense[number], outside[number] = done
        for number in np.flatnonzero((nonsense | outside).any(axis=1)).tolist():
            column = plan.columns[number]
            texts = self._text(rows, frame, column)
            self._complain_of_cells(rows.lines, texts, column, nonsense[number], outside[number])
        return codes

    def _text(self, rows: Rows, frame: pl.DataFrame, column: Column) -> pl.Series:
        texts = frame[name(column.position)]
        return self.layout.cells(
            texts if texts.dtype == pl.String else rows.text(column.position), column
        )

    def _complain_of_rows(self, lines: Offsets, texts: pl.Series, times: clock.Readings) -> None:
        bad = np.flatnonzero(times.fault)
        self.report.rows_left_out += bad.size
        for row in bad[:MAX_REASONS]:
            reason = self._time_fault(Fault(times.fault[row]), texts[int(row)])
            self.report.complain(int(lines[row]), "time", f"{reason}: row left out")

    def _time_fault(self, fault: Fault, text: str | None) -> str:
        shown = f'"{(text or "")[: cells.SHOWN_CHARACTERS]}"'
        return {
            Fault.EMPTY: "the time is missing",
            Fault.UNREADABLE: f"{shown} is not a time as RFC 3339 writes it",
            Fault.SKIPPED: f"{shown} never was: clocks in {self.circumstances.zone} skipped it",
            Fault.IMPLAUSIBLE: f"{shown} is not between the years 2000 and 2099",
        }[fault]

    def _complain_of_cells(
        self, lines: Offsets, texts: pl.Series, column: Column, nonsense: Flags, outside: Flags
    ) -> None:
        bad = np.flatnonzero(nonsense | outside)
        self.report.cells_left_out += bad.size
        plant = self.circumstances.plant
        for row in bad[:MAX_REASONS]:
            reason = cells.complaint(texts[int(row)], column, plant, outside=bool(outside[row]))
            self.report.complain(int(lines[row]), column.title, reason)

    def settle(self) -> None:
        """Tell the instants of all rows that were taken.

        Raises RefusedError: no row has one, or they lie too far apart.
        """
        lines = np.concatenate([np.empty(0, np.int64), *self._row_lines])
        self.report.rows_accepted = lines.size
        if not lines.size:
            first = min(self.report.complaints(), key=lambda each: each.line or 0, default=None)
            why = f"; first: {first.reason}" if first else ": only the header is there"
            raise RefusedError(f"no row is valid{why}", line=first.line if first else None)
        time = clock.settle(clock.join(self._times))
        _check_weeks(time)
        self._order = np.argsort(time, kind="stable")
        time, self._sorted_lines = time[self._order], lines[self._order]
        self._begins = np.flatnonzero(np.append(True, time[1:] != time[:-1]))
        self.time, self.lines = time[self._begins], self._sorted_lines[self._begins]

    def samples(self) -> Block | Stream:
        """The samples, piece by piece where the file has each instant once and in order."""
        repeated = self._begins.size < self._order.size
        if repeated or not self._rows or (np.diff(self._order) < 0).any():
            return self.block()
        filled = np.any([rows.filled for rows in self._rows], axis=0)
        columns = [column for column in self.header.columns if filled[column.position]]
        if not columns:
            return self.block()
        names = tuple(column.stored for column in columns)
        return Stream(self.time, names, self._pieces(columns), self.block)

    def _pieces(self, columns: Sequence[Column]) -> Iterator[Codes]:
        plan = self._plan(columns)
        for rows in self._rows:
            for piece in rows.pieces(*PIECE_BYTES):
                yield self._code(piece, plan).T

    def block(self) -> Block:
        """The samples at once: sorted by time, rows of one instant merged."""
        columns = self.header.columns
        plan = self._plan(columns)
        parts = self._codes or [self._code(rows, plan) for rows in self._rows]
        codes: dict[str, Codes] = {}
        for number, column in enumerate(columns):
            values = np.concatenate([part[number] for part in parts])[self._order]
            codes[column.stored] = self._join_repeats(values, column)
        return Block(
            self.time,
            {c.channel.name: codes[c.stored] for c in columns if c.slot is None},
            {(c.slot, c.channel.name): codes[c.stored] for c in columns if c.slot is not None},
        )

    def _join_repeats(self, values: Codes, column: Column) -> Codes:
        """First value given for each instant; others that differ are counted and listed."""
        begins, lines = self._begins, self._sorted_lines
        if begins.size == values.size:
            return values
        group = np.repeat(np.arange(begins.size), np.diff(np.append(begins, values.size)))
        where = np.where(values != EMPTY, np.arange(values.size), values.size)
        chosen = np.minimum.reduceat(where, begins)
        given = chosen < values.size
        joined = np.full(begins.size, EMPTY, np.int16)
        joined[given] = values[chosen[given]]
        differing = np.flatnonzero((values != EMPTY) & (values != joined[group]))
        self.report.cells_differing += differing.size
        plant = self.circumstances.plant
        for row in differing[:MAX_REASONS]:
            kept, other = joined[group[row]], values[row]
            self.report.complain(
                int(lines[row]),
                column.title,
                f"{cells.shown(other, column, plant)} differs from "
                f"{cells.shown(kept, column, plant)} in line {lines[chosen[group[row]]]}, "
                "which has the same time: the first is kept",
            )
        return joined


def _check_weeks(time: NDArray[np.datetime64]) -> None:
    weeks = np.unique(time.astype("datetime64[W]")).size
    if weeks > MAX_WEEKS:
        raise RefusedError(
            f"the rows lie in {weeks} different weeks, the limit is {MAX_WEEKS}: split the file, "
            "or look whether the logger's clock is right"
        )
