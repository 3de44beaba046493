"""Well-formed rows of a file, cut into cells when somebody asks for them.

Rows without any quote in their file, which is the rule for logs, stay bytes until they are asked
for a column, and polars cuts them then. Polars reads numbers and words as it cuts; where a cell is
none, rows are cut as text instead, so that the cell can be told of.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace

import numpy as np
import polars as pl
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray

from fleet.ingest.cells import Kind

Offsets = NDArray[np.int64]
Flags = NDArray[np.bool_]

TEXT = pl.String()


def name(position: int) -> str:
    """Of a column. Of our own: polars numbers them from 0 or 1 and orders them by its version."""
    return f"column_{position}"


@dataclass(frozen=True, eq=False)
class PlainRows:
    """Rows that all have the header's number of cells and no quotes.

    plain: the file; begins, ends: where in it each row begins and the next line does, shape (r,).
    lines: line of each row, counted from 1, shape (r,).
    filled: columns with any cell in these rows, or in those they were chosen from, shape (width,).
    """

    plain: bytes
    separator: str
    lines: Offsets
    begins: Offsets
    ends: Offsets
    filled: Flags

    def only(self, keep: Flags) -> PlainRows:
        """Some of the rows."""
        if keep.all():
            return self
        lines, begins, ends = self.lines[keep], self.begins[keep], self.ends[keep]
        return replace(self, lines=lines, begins=begins, ends=ends)

    def pieces(self, size: int, largest: int) -> Iterator[PlainRows]:
        """The rows, some ``size`` bytes at first, then half as many more each time up to a largest.

        No faster: a piece that takes longer to read than the one before to write is waited for.
        """
        first, count = 0, self.lines.size
        while first < count:
            last = max(first + 1, int(np.searchsorted(self.ends, self.begins[first] + size)))
            some = slice(first, last)
            yield replace(
                self, lines=self.lines[some], begins=self.begins[some], ends=self.ends[some]
            )
            first, size = last, min(size * 3 // 2, largest)

    def cut(self, kinds: Mapping[int, Kind]) -> tuple[pl.DataFrame, bool]:
        """The columns at some positions, named by ``name``; empty cells are null.

        kinds: what each is to be read as. If a cell of these rows cannot be read so, all are text;
        says whether they are as asked for.
        """
        try:
            return self._read(kinds), True
        except pl.exceptions.ComputeError:
            return self._read(dict.fromkeys(kinds, TEXT)), False

    def text(self, position: int) -> pl.Series:
        """The column at some position as text."""
        return self._read({position: TEXT}).to_series()

    def first_cells(self) -> NDArray[np.uint8] | None:
        """The first column, shape (r, width), if its cells are of one width, as times mostly are.

        Costs far less than ``text``, for nothing else is read.
        """
        separator = ord(self.separator)
        width = self.plain.find(separator, self.begins[0], self.ends[0]) - int(self.begins[0])
        if width <= 0 or (self.ends - self.begins <= width).any():
            return None
        octets = np.frombuffer(self.plain, np.uint8)
        cells: NDArray[np.uint8] = sliding_window_view(octets, width + 1)[self.begins]
        if (cells[:, -1] != separator).any() or (cells[:, :-1] == separator).any():
            return None
        return cells[:, :-1]

    def _bytes(self) -> bytes:
        seams = np.flatnonzero(self.begins[1:] != self.ends[:-1]) + 1
        firsts = [0, *seams.tolist()]
        lasts = [*(seams - 1).tolist(), self.lines.size - 1]
        runs = zip(self.begins[firsts].tolist(), self.ends[lasts].tolist(), strict=True)
        return b"".join([self.plain[begin:end] for begin, end in runs])

    def _read(self, kinds: Mapping[int, Kind]) -> pl.DataFrame:
        return pl.read_csv(
            self._bytes(),
            has_header=False,
            schema={name(at): kinds.get(at, TEXT) for at in range(self.filled.size)},
            columns=sorted(kinds),
            quote_char=None,
            separator=self.separator,
        )


@dataclass(frozen=True, eq=False)
class TextRows:
    """Rows of a file with quotes: the columns asked for, as text already.

    lines: line of each row, counted from 1, shape (r,). cells: by position; empty ones are null.
    """

    lines: Offsets
    cells: Mapping[int, pl.Series]

    def only(self, keep: Flags) -> TextRows:
        """Some of the rows."""
        if keep.all():
            return self
        kept = pl.Series(keep)
        return TextRows(self.lines[keep], {at: it.filter(kept) for at, it in self.cells.items()})

    def cut(self, kinds: Mapping[int, Kind]) -> tuple[pl.DataFrame, bool]:
        """The columns at some positions, named by ``name``; text, whatever was asked for."""
        return pl.DataFrame({name(at): self.cells[at] for at in kinds}), False

    def text(self, position: int) -> pl.Series:
        """The column at some position."""
        return self.cells[position]


Rows = PlainRows | TextRows
