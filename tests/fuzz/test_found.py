"""What fuzzing found once, each mended and kept from coming back."""

from __future__ import annotations

import time

import pytest

from fleet.ingest import proposal, sniff
from fleet.ingest.manifest import ManifestError, register
from fleet.ingest.mapping import Layout, Time
from fleet.ingest.parse import parse
from fleet.ingest.report import RefusedError
from tests.ingest.building import LISBON

HEADER = b"time,discharge_pressure [kPa(a)]\n"
ROW = b"2026-01-05T00:00:00Z,2500\n"


def test_quotes_left_open_in_every_line_do_not_take_quadratic_time() -> None:
    # Each line closes the quote of the one before and opens another, wherever reading begins.
    began = time.perf_counter()
    with pytest.raises(RefusedError, match="quotes are left open in too many lines: close them"):
        parse(HEADER + ROW + b'a","b\n' * 200_000, LISBON)
    assert time.perf_counter() - began < 2.0


def test_a_few_open_quotes_cost_their_own_lines_only() -> None:
    rows = [f'2026-01-05T00:{at // 60:02d}:{at % 60:02d}Z,"2500"\n'.encode() for at in range(600)]
    rows[100] = rows[400] = b'2026-01-05T00:30:00Z,"2500\n'
    report = parse(HEADER + b"".join(rows), LISBON).report
    assert report.rows_accepted == 598
    assert report.rows_left_out == 2


def test_a_record_does_not_grow_longer_than_a_line_may_be() -> None:
    # One open quote, then cells without end: held back at 256 KiB, not gathered to the last byte.
    body = HEADER + ROW + b'"' + b",\n" * 200_000
    report = parse(body, LISBON).report
    assert report.rows_accepted == 1
    assert report.rows_left_out == 200_000


@pytest.mark.parametrize("cell", ["\x1b[2J", "\u2028", "a\x85b", "\x07", "\x9b31m"])
def test_what_a_complaint_quotes_cannot_speak_to_a_terminal(cell: str) -> None:
    titles = f"time,discharge_pressure [kPa(a)],{cell}\n"
    found = parse(f"{titles}2026-01-05T00:00:00Z,{cell},\n".encode(), LISBON)
    (complaint,) = found.report.complaints()
    assert str(complaint).isprintable()
    assert str(complaint).endswith('" is not a number')
    assert all(title.isprintable() for title in found.report.unknown_columns)


def test_a_title_without_end_is_not_told_a_hundred_times() -> None:
    title = f"discharge_pressure [{'K' * 100_000}]"
    with pytest.raises(RefusedError) as refused:
        parse(f"time,{title}\n2026-01-05T00:00:00Z,1\n".encode(), LISBON)
    told = refused.value.complaint
    assert told.column == f"{title[:199]}…"
    assert len(told.reason) == 1_000


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ("a = " + "[" * 20_000, "not TOML: lists or tables too deep within each other"),
        ("altitude_m = " + "9" * 5_000, "not TOML: Exceeds the limit"),
    ],
)
def test_a_manifest_that_the_reader_of_toml_fails_on_is_refused(line: str, said: str) -> None:
    with pytest.raises(ManifestError, match=said):
        register(line)


def test_a_proposal_is_not_disturbed_by_numbers_near_the_largest() -> None:
    rows = "".join(f"2026-01-05 00:0{at}:00;1.7e308;{at}\n" for at in range(9))
    look = sniff.look(f"Date;High press. (bar);x\n{rows}".encode())
    assert [it.meant for it in proposal.propose(look, LISBON, [])] == ["", ""]


def test_a_foreign_log_whose_lines_end_in_two_ways_is_refused() -> None:
    # The look at a file ends lines at a bare CR and at U+2028, the reading of rows does not.
    first = "Date;High press. (bar)\r05.01.2026 00:00;23,5\r05.01.2026 00:01;23,6\r"
    plain = f"Logger 7\u2028{first}\n05.01.2026 00:02;23,7\n".encode()
    look = sniff.look(plain)
    layout = proposal.layout_of(look, proposal.propose(look, LISBON, []))
    assert layout.time.titles == ("Date",)
    with pytest.raises(RefusedError, match=r"lines may end in different ways|bare carriage return"):
        parse(plain, LISBON, [layout])


def test_titles_that_are_others_when_rows_are_cut_are_a_refusal() -> None:
    layout = Layout(titles=("Date", "x"), time=Time(("Date",)))
    with pytest.raises(RefusedError, match="no column is called so, as in files of this kind"):
        layout.understand(["Day", "x"], LISBON)
