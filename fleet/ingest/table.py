"""From plain bytes to rows: RFC 4180, with the line of every row.

A row that is not well formed spoils itself only. Without any quote in the file, which is the rule
for logs, rows are told apart by counting separators with numpy; with quotes, Python's csv module
does it.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator, Sequence

import numpy as np
import polars as pl

from fleet.ingest.limits import MAX_COLUMNS, MAX_LINE_BYTES, MAX_LINES, MAX_REASONS, MIB
from fleet.ingest.report import RefusedError, Report
from fleet.ingest.rows import Flags, Offsets, PlainRows, Rows, TextRows

BYTE_ORDER_MARK = b"\xef\xbb\xbf"
BATCH_BYTES = 4 * MIB
BATCH_ROWS = 16_384
FIRST_ROWS = 64
"""These usually show that every column holds something."""
IN_VAIN_TIMES, IN_VAIN_ANYHOW = 4, 100_000
"""Lines that may be read again after open quotes: so often the file, and so many."""
NEWLINE, RETURN = b"\n\r"


class Table:
    """A file cut into header and rows."""

    def __init__(self, plain: bytes, separator: str = ",", skipped: int = 0) -> None:
        """Checks the bytes and reads the header, which stands behind ``skipped`` lines.

        Raises RefusedError: not UTF-8, NUL bytes, a line or a header that is too long, nothing at
        all. A byte order mark at the beginning is passed over.
        """
        self._plain = plain.removeprefix(BYTE_ORDER_MARK)
        self._separator, self._skipped = separator, skipped
        self._quoted = b'"' in self._plain
        _check_text(self._plain)
        self._starts, self._ends = _line_bounds(self._plain)
        self.header, self._header_lines = self._read_header()
        if len(self.header) > MAX_COLUMNS:
            raise RefusedError(
                f"the header has {len(self.header)} columns, the limit is {MAX_COLUMNS}",
                line=skipped + 1,
            )

    def _read_header(self) -> tuple[list[str], int]:
        if not self._plain:
            raise RefusedError("the file is empty: send a header line and rows")
        at = self._skipped
        if at >= self._ends.size:
            raise RefusedError(f"no header: the file has {self._ends.size} lines", line=1)
        if self._quoted:
            for _, record, lines in self._records():
                if record is None:
                    raise RefusedError("the header's quotes are not closed (RFC 4180)", line=at + 1)
                return [name.strip() for name in record], at + lines
        first = self._plain[self._starts[at] : self._ends[at]].decode()
        if "\r" in first:
            raise RefusedError(
                "lines end with a bare carriage return: end them with LF or CR LF", line=at + 1
            )
        return [name.strip() for name in first.split(self._separator)], at + 1

    def batches(self, wanted: Sequence[int], report: Report) -> Iterator[Rows]:
        """Rows that can be asked for the columns ``wanted``.

        Badly formed rows are left out and reported.
        """
        yield from self._csv_batches(wanted, report) if self._quoted else self._batches(report)

    def _batches(self, report: Report) -> Iterator[PlainRows]:
        octets = np.frombuffer(self._plain, np.uint8)
        for first, last in _batch_bounds(self._starts, self._header_lines):
            starts, ends = self._starts[first : last + 1], self._ends[first:last]
            part = octets[starts[0] : starts[-1]]
            commas = np.flatnonzero(part == ord(self._separator)) + starts[0]
            cells = _cells(starts[:-1], commas, ends, len(self.header))
            empty = ends == starts[:-1]
            good = (cells == len(self.header)) & ~empty
            bad = np.flatnonzero(~good & ~empty)
            report.rows_left_out += bad.size
            for at in bad[:MAX_REASONS]:
                _complain(report, int(first + at + 1), int(cells[at]), len(self.header))
            if not good.any():
                continue
            commas = commas if good.all() else commas[np.repeat(good, cells - 1)]
            begins = starts[:-1][good]
            yield PlainRows(
                self._plain,
                self._separator,
                lines=first + 1 + np.flatnonzero(good),
                begins=begins,
                ends=starts[1:][good],
                filled=_filled(begins, commas, ends[good]),
            )

    def _csv_batches(self, wanted: Sequence[int], report: Report) -> Iterator[TextRows]:
        lines: list[int] = []
        rows: list[list[str]] = []
        width = len(self.header)
        for number, (line, record, _) in enumerate(self._records()):
            if number == 0 or record == []:
                continue
            if record is None:
                report.rows_left_out += 1
                report.complain(line, "", "quotes are not as RFC 4180 has them: row left out")
            elif len(record) != width:
                report.rows_left_out += 1
                _complain(report, line, len(record), width)
            else:
                lines.append(line)
                rows.append([record[at] for at in wanted])
            if len(rows) == BATCH_ROWS:
                yield _text_rows(lines, wanted, rows)
                lines, rows = [], []
        if rows:
            yield _text_rows(lines, wanted, rows)

    def _records(self) -> Iterator[tuple[int, list[str] | None, int]]:
        lines = io.StringIO(self._plain.decode(), newline="\n").readlines()
        return _records(lines, self._skipped, self._separator)


def _check_text(plain: bytes) -> None:
    if (at := plain.find(0)) >= 0:
        raise RefusedError("NUL bytes: this is no text file", line=_line_of(plain, at))
    if plain.isascii():
        return
    try:
        plain.decode()
    except UnicodeDecodeError as error:
        raise RefusedError(
            f"not UTF-8 (byte 0x{plain[error.start]:02x}): save the file as UTF-8",
            line=_line_of(plain, error.start),
        ) from error


def _line_of(plain: bytes, at: int) -> int:
    return plain.count(b"\n", 0, at) + 1


def _line_bounds(plain: bytes) -> tuple[Offsets, Offsets]:
    """Where lines start, and one more for the end of the file; where their text ends."""
    octets = np.frombuffer(plain, np.uint8)
    ending = octets == NEWLINE
    if np.count_nonzero(ending) > MAX_LINES:  # asked first: where they are takes far more room
        raise RefusedError(f"the file has more than {MAX_LINES} lines: split it")
    breaks = np.flatnonzero(ending)
    if plain and not plain.endswith(b"\n"):
        breaks = np.append(breaks, octets.size)
    starts = np.concatenate(([0], np.minimum(breaks + 1, octets.size)))
    returns = (breaks > starts[:-1]) & (octets[breaks - 1] == RETURN)
    ends = breaks - returns
    if (too_long := np.flatnonzero(ends - starts[:-1] > MAX_LINE_BYTES)).size:
        limit = MAX_LINE_BYTES // 1024
        raise RefusedError(f"the line is longer than {limit} KiB", line=int(too_long[0]) + 1)
    return starts, ends


def _batch_bounds(starts: Offsets, first: int) -> Iterator[tuple[int, int]]:
    """First line and the one after the last of each batch."""
    while first < starts.size - 1:
        full = int(np.searchsorted(starts[:-1], starts[first] + BATCH_BYTES))
        yield first, max(full, first + 1)
        first = max(full, first + 1)


def _cells(begins: Offsets, commas: Offsets, ends: Offsets, width: int) -> Offsets:
    """Number of cells in each line."""
    if width > 1 and commas.size == begins.size * (width - 1):
        each = commas.reshape(begins.size, width - 1)
        if (each[:, 0] >= begins).all() and (each[:, -1] < ends).all():
            return np.full(begins.size, width)
    return np.searchsorted(commas, ends) - np.searchsorted(commas, begins) + 1


def _filled(begins: Offsets, commas: Offsets, ends: Offsets) -> Flags:
    """Columns of which any cell is not empty; commas: of all these rows, as many in each."""
    edges = [begins[:, None] - 1, commas.reshape(begins.size, -1), ends[:, None]]
    for some in (slice(FIRST_ROWS), slice(None)):
        filled = (np.diff(np.hstack([edge[some] for edge in edges])) > 1).any(axis=0)
        if filled.all():
            break
    return np.asarray(filled)


def _text_rows(lines: list[int], wanted: Sequence[int], rows: list[list[str]]) -> TextRows:
    texts = (pl.Series(values, dtype=pl.String) for values in zip(*rows, strict=True))
    cells = [column.replace("", None) for column in texts]
    return TextRows(np.array(lines), dict(zip(wanted, cells, strict=True)))


def _complain(report: Report, line: int, cells: int, width: int) -> None:
    report.complain(line, "", f"{cells} cells where the header has {width}: row left out")


def _records(
    lines: list[str], begin: int, separator: str
) -> Iterator[tuple[int, list[str] | None, int]]:
    """Line (from 1), cells (None if badly quoted) and number of lines of each record.

    The first is that of line ``begin``, from 0. After a badly quoted line, reading starts again at
    the next.

    Raises RefusedError: what was read in vain that way has become much more than the file.
    """
    patience = IN_VAIN_TIMES * len(lines) + IN_VAIN_ANYHOW
    while begin < len(lines):
        first = begin
        feed = _Feed(lines, first)
        reader = csv.reader(feed, delimiter=separator, strict=True)
        try:
            for record in reader:
                end = first + reader.line_num
                yield begin + 1, record, end - begin
                begin = end
                feed.room = MAX_LINE_BYTES
        except csv.Error:
            patience -= first + reader.line_num - begin
            if patience < 0:
                raise RefusedError(
                    "quotes are left open in too many lines: close them (RFC 4180)", line=begin + 1
                ) from None
            yield begin + 1, None, 1
            begin += 1


class _Feed:
    """Lines from some line on, ending before one record gets longer than a line may be."""

    def __init__(self, lines: list[str], begin: int) -> None:
        self._lines, self._at, self.room = lines, begin, MAX_LINE_BYTES

    def __iter__(self) -> _Feed:
        return self

    def __next__(self) -> str:
        if self._at >= len(self._lines) or self.room < 0:
            raise StopIteration
        line = self._lines[self._at]
        self._at += 1
        self.room -= len(line)
        return line
