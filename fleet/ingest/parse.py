"""From the body of an upload to a block of samples and a report: unpack, read, validate."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import polars as pl
from numpy.typing import NDArray

from diagnostics.channels import EMPTY, Quantity
from fleet.ingest import cells, clock, mapping
from fleet.ingest.circumstances import Circumstances
from fleet.ingest.clock import Fault
from fleet.ingest.header import Column, Header
from fleet.ingest.limits import MAX_REASONS, MAX_WEEKS
from fleet.ingest.mapping import Layout
from fleet.ingest.report import SHOWN_TITLE, RefusedError, Report, shown
from fleet.ingest.table import Batch, Table
from fleet.ingest.unpack import unpack
from fleet.timeseries.block import Block, Codes


@dataclass(frozen=True, eq=False)
class Parsed:
    """An upload read.

    lines: first line of each instant of the block, shape (n,).
    columns: name of the stored column -> column of the file.
    """

    block: Block
    report: Report
    lines: NDArray[np.int64]
    columns: Mapping[str, Column]


def parse(body: bytes, circumstances: Circumstances, layouts: Sequence[Layout] = ()) -> Parsed:
    """Read an upload, gzip or not. Bad rows and cells are left out, counted and listed.

    layouts: of the site's foreign logs; one whose titles are the file's says how to read it.

    Raises RefusedError if it cannot be read at all; the reason says where and what to do.
    """
    plain = unpack(body)
    layout = mapping.choose(plain, layouts)
    table = Table(layout.as_utf_8(plain), layout.separator, layout.skipped)
    header = layout.understand(table.header, circumstances)
    reading = _Reading(header, circumstances, layout)
    wanted = [*header.time, *(column.position for column in header.columns)]
    for batch in table.batches(wanted, reading.report, reading.numeric()):
        reading.take(batch)
    return reading.finish()


class _Reading:
    """One file under way: codes of every batch, and time as read so far."""

    def __init__(self, header: Header, circumstances: Circumstances, layout: Layout) -> None:
        self.header, self.circumstances, self.layout = header, circumstances, layout
        unknown = [shown(title, SHOWN_TITLE) for title in header.unknown]
        self.report = Report(unknown_columns=unknown)
        self._times: list[clock.Readings] = []
        self._lines: list[NDArray[np.int64]] = []
        self._codes: dict[str, list[Codes]] = {column.stored: [] for column in header.columns}

    def numeric(self) -> frozenset[int]:
        """Positions of columns that may be read as numbers at once, for nobody has to edit them."""
        if self.layout.decimal == ",":
            return frozenset()
        wordy = {Quantity.CHOICE} | ({Quantity.FLAG} if self.layout.foreign else set())
        columns = self.header.columns
        return frozenset(c.position for c in columns if c.channel.quantity not in wordy)

    def take(self, batch: Batch) -> None:
        """Read the rows of a batch; rows without an instant are left out before their cells."""
        texts = self.layout.times(batch.cells[: len(self.header.time)])
        times = clock.read(texts, self.circumstances.zone)
        good = times.fault == Fault.NONE
        self._complain_of_rows(batch.lines, texts, times)
        lines = batch.lines[good]
        self._times.append(times.only(good))
        self._lines.append(lines)
        for number, column in enumerate(self.header.columns, start=len(self.header.time)):
            kept = _only(batch.cells[number], good)
            if kept.dtype == pl.String:
                kept = self.layout.cells(kept, column)
            coded = cells.code(kept, column, self.circumstances.plant)
            self._codes[column.stored].append(coded.codes)
            if coded.nonsense.any() or coded.outside.any():
                texts = kept if kept.dtype == pl.String else _only(batch.texts(number), good)
                self._complain_of_cells(lines, texts, column, coded)

    def _complain_of_rows(
        self, lines: NDArray[np.int64], texts: pl.Series, times: clock.Readings
    ) -> None:
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
        self, lines: NDArray[np.int64], texts: pl.Series, column: Column, coded: cells.Coded
    ) -> None:
        bad = np.flatnonzero(coded.nonsense | coded.outside)
        self.report.cells_left_out += bad.size
        for row in bad[:MAX_REASONS]:
            reason = cells.complaint(
                texts[int(row)],
                column,
                self.circumstances.plant,
                outside=bool(coded.outside[row]),
            )
            self.report.complain(int(lines[row]), column.title, reason)

    def finish(self) -> Parsed:
        """Sort what was read by time, and merge rows of one instant."""
        lines = np.concatenate([np.empty(0, np.int64), *self._lines])
        self.report.rows_accepted = lines.size
        if not lines.size:
            first = min(self.report.complaints(), key=lambda each: each.line or 0, default=None)
            why = f"; first: {first.reason}" if first else ": only the header is there"
            raise RefusedError(f"no row is valid{why}", line=first.line if first else None)
        time = clock.settle(clock.join(self._times))
        _check_weeks(time)
        order = np.argsort(time, kind="stable")
        time, lines = time[order], lines[order]
        begins = np.flatnonzero(np.append(True, time[1:] != time[:-1]))
        codes: dict[str, Codes] = {}
        repeated = begins.size < time.size
        for column in self.header.columns:
            values = np.concatenate(self._codes[column.stored])[order]
            codes[column.stored] = (
                self._join_repeats(values, begins, lines, column) if repeated else values
            )
        return Parsed(
            block=self._block(time[begins], codes),
            report=self.report,
            lines=lines[begins],
            columns={column.stored: column for column in self.header.columns},
        )

    def _join_repeats(
        self,
        values: Codes,
        begins: NDArray[np.intp],
        lines: NDArray[np.int64],
        column: Column,
    ) -> Codes:
        """First value given for each instant; others that differ are counted and listed."""
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

    def _block(self, time: NDArray[np.datetime64], codes: dict[str, Codes]) -> Block:
        columns = self.header.columns
        return Block(
            time,
            {c.channel.name: codes[c.stored] for c in columns if c.slot is None},
            {(c.slot, c.channel.name): codes[c.stored] for c in columns if c.slot is not None},
        )


def _only(cells: pl.Series, good: NDArray[np.bool_]) -> pl.Series:
    return cells if good.all() else cells.filter(pl.Series(good))


def _check_weeks(time: NDArray[np.datetime64]) -> None:
    weeks = np.unique(time.astype("datetime64[W]")).size
    if weeks > MAX_WEEKS:
        raise RefusedError(
            f"the rows lie in {weeks} different weeks, the limit is {MAX_WEEKS}: split the file, "
            "or look whether the logger's clock is right"
        )
