"""A short run of the kills; the long one is ``python -m tests.acceptance.kills``."""

from __future__ import annotations

import pytest

from tests.acceptance.kills import Outcome, Plan, count_rows, run
from tests.acceptance.pieces import CODES, Piece


@pytest.mark.timeout(240)
def test_nothing_acknowledged_is_lost_whatever_is_killed() -> None:
    outcome = run(Plan(kills=10, seed=3, apart_s=0.9))
    print("\n".join(outcome.lines()))  # noqa: T201
    assert outcome.faults == []
    assert outcome.kills.total() == 10
    assert len(outcome.kills) == 9, "each kind of kill once at least"
    assert outcome.rows_acknowledged > 5000
    assert outcome.windows > 200


def test_a_row_lost_doubled_or_invented_would_be_seen() -> None:
    promised = Piece(CODES[0], "a.csv", b"", frozenset({"1", "2", "3"}))
    outcome = Outcome()
    count_rows({CODES[0]: ["1", "2", "2", "4"], CODES[1]: []}, [promised], [promised], outcome)
    assert outcome.faults == ["1 rows lost", "1 rows doubled", "1 rows invented"]
