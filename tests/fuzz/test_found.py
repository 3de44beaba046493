"""What fuzzing found once, each mended and kept from coming back."""

from __future__ import annotations

import time

import pytest

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
