"""Rows and their lines, with and without quotes."""

from __future__ import annotations

import csv
import io
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fleet.ingest import table as module
from fleet.ingest.report import RefusedError, Report
from fleet.ingest.rows import TEXT, name
from fleet.ingest.table import Table


def rows_of(plain: bytes, wanted: list[int] | None = None) -> tuple[Any, Report]:
    """Header, and (line, cells) of every row; what was complained of."""
    table, report = Table(plain), Report()
    wanted = list(range(len(table.header))) if wanted is None else wanted
    rows = []
    for batch in table.batches(wanted, report):
        frame, _ = batch.cut(dict.fromkeys(wanted, TEXT))
        columns = [frame[name(at)].to_list() for at in wanted]
        rows += list(zip(batch.lines.tolist(), zip(*columns, strict=True), strict=True))
    return rows, report


def complaints(report: Report) -> list[str]:
    return [str(each) for each in report.complaints()]


@pytest.mark.parametrize("end", ["\n", "\r\n"])
@pytest.mark.parametrize("last", [True, False])
def test_lines_are_counted_from_the_header(end: str, last: bool) -> None:
    text = end.join(["a,b", "1,2", "", "3,", ",4"]) + (end if last else "")
    rows, report = rows_of(text.encode())
    assert rows == [(2, ("1", "2")), (4, ("3", None)), (5, (None, "4"))]
    assert report.rows_left_out == 0


@pytest.mark.parametrize("quote", ["", '"'])
def test_a_row_of_another_width_is_left_out_alone(quote: str) -> None:
    plain = f"a,b,c\n1,2,3\n1,2\n{quote}4{quote},5,6\n1,2,3,4\n7,8,9\n".encode()
    rows, report = rows_of(plain)
    assert [line for line, _ in rows] == [2, 4, 6]
    assert report.rows_left_out == 2
    assert complaints(report) == [
        "line 3: 2 cells where the header has 3: row left out",
        "line 5: 4 cells where the header has 3: row left out",
    ]


def test_quoted_cells_may_hold_separators_quotes_and_line_breaks() -> None:
    plain = b'a,"b, c"\r\n1,"x, ""y"""\r\n2,"two\r\nlines"\r\n3,z\r\n'
    assert Table(plain).header == ["a", "b, c"]
    rows, _ = rows_of(plain)
    assert rows == [(2, ("1", 'x, "y"')), (3, ("2", "two\r\nlines")), (5, ("3", "z"))]


def test_a_header_over_two_lines_moves_the_rows() -> None:
    rows, _ = rows_of(b'a,"b\nc"\n1,2\n')
    assert rows == [(3, ("1", "2"))]


def test_bad_quotes_spoil_their_own_line_only() -> None:
    rows, report = rows_of(b'a,b\n1,"2\n3,4\n5,"6"x\n7,"8"\n9,"10"\n')
    assert rows == [(3, ("3", "4")), (5, ("7", "8")), (6, ("9", "10"))]
    assert report.rows_left_out == 2
    assert complaints(report) == [
        "line 2: quotes are not as RFC 4180 has them: row left out",
        "line 4: quotes are not as RFC 4180 has them: row left out",
    ]


def test_a_quote_left_open_at_the_end_spoils_its_line_only() -> None:
    rows, report = rows_of(b'a,b\n1,2\n3,"4\n5,6\n7,8\n')
    assert [line for line, _ in rows] == [2, 4, 5]
    assert report.rows_left_out == 1


def test_a_byte_order_mark_is_passed_over() -> None:
    assert Table(b"\xef\xbb\xbfa,b\n1,2\n").header == ["a", "b"]
    assert Table(b'\xef\xbb\xbf"a",b\n1,2\n').header == ["a", "b"]


def test_columns_come_in_the_order_asked_for() -> None:
    plain = b"a,b,c\n1,2,3\n"
    assert rows_of(plain, [2, 0])[0] == [(2, ("3", "1"))]
    assert rows_of(b'"a",b,c\n1,2,3\n', [2, 0])[0] == [(2, ("3", "1"))]


def test_batches_join_without_a_seam(monkeypatch: pytest.MonkeyPatch) -> None:
    lines = [f"{n},{n * n}" for n in range(500)]
    lines[7], lines[90], lines[300] = "broken", "", "1,2,3"
    plain = "\n".join(["a,b", *lines]).encode()
    whole, report = rows_of(plain)
    monkeypatch.setattr(module, "BATCH_BYTES", 64)
    small, small_report = rows_of(plain)
    assert small == whole
    assert complaints(small_report) == complaints(report)
    monkeypatch.setattr(module, "BATCH_ROWS", 10)
    quoted, _ = rows_of(plain.replace(b"5,25\n", b'"5",25\n'))
    assert quoted == whole


@pytest.mark.parametrize(
    ("plain", "line", "reason"),
    [
        (b"", None, "the file is empty: send a header line and rows"),
        (b"\xef\xbb\xbf", None, "the file is empty: send a header line and rows"),
        (b"a,b\n1,2\n1,\x002\n", 3, "NUL bytes: this is no text file"),
        (b"a,b\n1,2\n\xe9,2\n", 3, r"not UTF-8 \(byte 0xe9\): save the file as UTF-8"),
        ("time,x\n".encode("utf-16"), 1, "NUL bytes"),
        (b"a,b\r1,2\r", 1, "lines end with a bare carriage return: end them with LF or CR LF"),
        (b"a,b\n" + b"x" * 300_000 + b"\n", 2, "the line is longer than 256 KiB"),
        (b"," * 2000, 1, "the header has 2001 columns, the limit is 2000"),
        (b'a,"b\n1,2\n', 1, r"the header's quotes are not closed \(RFC 4180\)"),
    ],
)
def test_a_file_that_is_no_table_is_refused(plain: bytes, line: int | None, reason: str) -> None:
    with pytest.raises(RefusedError, match=reason) as caught:
        Table(plain)
    assert caught.value.complaint.line == line


def test_too_many_lines_are_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(module, "MAX_LINES", 3)
    Table(b"a\n1\n2\n")
    with pytest.raises(RefusedError, match="the file has more than 3 lines: split it"):
        Table(b"a\n1\n2\n3\n")


cells = st.text(st.characters(codec="utf-8", exclude_characters="\r\n\x00"), max_size=6)
tables = st.integers(2, 4).flatmap(
    lambda width: st.lists(st.lists(cells, min_size=width, max_size=width), max_size=8)
)


@given(rows=tables, quoting=st.sampled_from([csv.QUOTE_ALL, csv.QUOTE_MINIMAL]), end=st.booleans())
@settings(max_examples=150, deadline=None)
def test_what_a_csv_writer_writes_is_read_back(
    rows: list[list[str]], quoting: int, end: bool
) -> None:
    width = len(rows[0]) if rows else 2
    text = io.StringIO(newline="")
    writer = csv.writer(text, quoting=quoting, lineterminator="\r\n" if end else "\n")
    writer.writerows([["h"] * width, *rows])
    found, report = rows_of(text.getvalue().encode())
    wanted = [(line, tuple(cell or None for cell in row)) for line, row in enumerate(rows, 2)]
    assert found == wanted
    assert report.rows_left_out == 0
