"""Samples written while the rest of their file is read: the same as when all is read first."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from django.db import transaction
from hypothesis import given, settings
from hypothesis import strategies as st

from diagnostics.channels import EMPTY
from fleet.ingest import parse as module
from fleet.ingest.parse import Reading, begin, parse
from fleet.ingest.receive import receive
from fleet.ingest.take_in import take_in
from fleet.models import System, Upload, UploadState
from fleet.timeseries import store
from fleet.timeseries.store import Block, BlockError, Stream
from tests.ingest.building import LISBON, csv, dump, registered

HEAD = "time,suction_pressure [kPa(a)],reported_state,A-101/demand,A-101/setpoint [degF]"
CELLS = st.sampled_from(["", " ", "1", "800", "nan", "x", "9e9", "1e1", "off", "Off", " off"])
ROWS = st.lists(st.tuples(CELLS, CELLS, CELLS, CELLS), min_size=1, max_size=20)


def a_file(rows: list[tuple[str, ...]], begin_at: int = 0) -> bytes:
    """Rows one second apart, from some second of an hour on."""
    seconds = range(begin_at, begin_at + len(rows))
    times = [f"2026-01-05T14:{at // 60:02d}:{at % 60:02d}Z" for at in seconds]
    return csv(HEAD, *(",".join([time, *row]) for time, row in zip(times, rows, strict=True)))


@given(rows=ROWS, size=st.sampled_from([1, 100, 300, 10_000]), spoilt=st.integers(0, 20))
@settings(max_examples=150, deadline=None)
def test_pieces_hold_what_the_whole_holds(
    rows: list[tuple[str, ...]], size: int, spoilt: int
) -> None:
    body = a_file(rows)
    lines = body.splitlines(keepends=True)
    body = b"".join([*lines[: spoilt + 1], b"soon,1,off,1,70\n", b"1,2\n", *lines[spoilt + 1 :]])
    reading, whole = begin(body, LISBON), parse(body, LISBON)
    samples = reading.samples()
    if isinstance(samples, Block):
        assert not any(cell for row in rows for cell in row)
        return
    assert (samples.time == whole.block.time).all()
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(module, "PIECE_BYTES", (size, size))
        streamed = np.concatenate(list(samples.pieces))
    names, codes = whole.block.table()
    assert set(names) <= set(samples.columns)
    at = {name: number for number, name in enumerate(names)}
    for number, name in enumerate(samples.columns):
        wanted = codes[:, at[name]] if name in at else np.full(len(streamed), EMPTY)
        assert (streamed[:, number] == wanted).all()
    assert reading.report.complaints() == whole.report.complaints()
    assert reading.report.cells_left_out == whole.report.cells_left_out
    assert reading.report.rows_left_out == whole.report.rows_left_out == 2


def test_columns_without_any_cell_are_not_written() -> None:
    samples = begin(a_file([("800", "", "", "")] * 3), LISBON).samples()
    assert samples.columns == ("suction_pressure",)
    late = [("800", "", "", "")] * 100 + [("800", "", "1", "")]
    assert begin(a_file(late), LISBON).samples().columns == ("suction_pressure", "u00_demand")


@pytest.mark.parametrize(
    ("first", "second", "row"),
    [
        ("00", "00", "800,off,1,70"),
        ("10", "00", "800,off,1,70"),
        ("00", "10", '"800",off,1,70'),
        ("00", "10", ",,,"),
    ],
)
def test_files_that_repeat_go_back_quote_or_hold_nothing_are_read_at_once(
    first: str, second: str, row: str
) -> None:
    rows = [f"2026-01-05T14:00:{at}Z,{row}" for at in (first, second)]
    assert isinstance(begin(csv(HEAD, *rows), LISBON).samples(), Block)


@pytest.fixture
def met(monkeypatch: pytest.MonkeyPatch) -> list[Reading]:
    """The readings whose rows had to be read at once."""
    found: list[Reading] = []
    whole = Reading.block

    def block(self: Reading) -> Block:
        found.append(self)
        return whole(self)

    monkeypatch.setattr(Reading, "block", block)
    return found


ROW = ("800", "off", "1", "70")


@pytest.mark.django_db
def test_only_rows_that_may_be_stored_already_wait_for_the_whole(
    met: list[Reading], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(module, "PIECE_BYTES", (64, 64))
    system = registered()

    def taken(count: int, at: int, row: tuple[str, ...] = ROW) -> Upload:
        upload, _ = receive(system, "a.csv", a_file([row] * count, at))
        return take_in(upload.pk)

    assert taken(10, 100).state == UploadState.TAKEN_IN
    assert taken(10, 110).state == UploadState.TAKEN_IN
    assert taken(10, 90).state == UploadState.TAKEN_IN
    assert not met
    again = taken(20, 85, ("810", "off", "1", "70"))
    assert (len(met), again.rows_accepted, again.cells_differing) == (1, 20, 15)
    assert store.read(fresh(system), *span()).time.size == 35


def fresh(system: System) -> System:
    return System.objects.prefetch_related("indoor_units").get(pk=system.pk)


def span() -> tuple[Any, Any]:
    reached = store.extent(registered().id)
    assert reached is not None
    return reached[0], reached[1].replace(year=2027)


@pytest.mark.django_db
def test_a_failure_between_pieces_leaves_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    system = registered()
    before = dump(system)
    pieces = Reading._pieces

    def broken(self: Reading, columns: Any) -> Any:
        yield from list(pieces(self, columns))[:2]
        raise RuntimeError("the third piece is broken")

    monkeypatch.setattr(module, "PIECE_BYTES", (64, 64))
    upload, _ = receive(system, "a.csv", a_file([ROW] * 30))
    with monkeypatch.context() as patched:
        patched.setattr(Reading, "_pieces", broken)
        failed = take_in(upload.pk)
    assert (failed.state, failed.attempts) == (UploadState.STORED, 1)
    assert (dump(system), store.days(system.id)) == (before, set())
    assert take_in(upload.pk).state == UploadState.TAKEN_IN
    assert store.read(fresh(system), *span()).time.size == 30


@pytest.mark.django_db
def test_a_stream_with_rows_too_few_is_refused() -> None:
    system = registered()
    time = np.datetime64("2026-01-05", "us") + np.arange(3) * np.timedelta64(1, "s")
    pieces = iter([np.zeros((2, 1), np.int16)])
    short = Stream(time, ("suction_pressure",), pieces, lambda: Block(time, {}, {}))
    with pytest.raises(BlockError, match="3 instants came with 2 rows of codes"), \
            transaction.atomic():  # fmt: skip
        store.merge(system.id, short)
    assert store.days(system.id) == set()
