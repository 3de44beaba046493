"""What differs between TimescaleDB and PostgreSQL alone.

With MILLRACE_PG_BIN at programs that have TimescaleDB, the whole suite runs on a hypertable.
"""

from __future__ import annotations

import re
from datetime import UTC, date, datetime

import numpy as np
import pytest
from django.db import connection, transaction

from diagnostics.channels import EMPTY
from fleet.timeseries import partitions, schema, statements, store
from fleet.timeseries.store import Block
from tests.ingest.building import dump, registered

pytestmark = pytest.mark.django_db

START = np.datetime64("2026-01-05T00:00:00", "us")
ROWS = 3000


def ask(query: str) -> list[tuple[object, ...]]:
    with connection.cursor() as cursor:
        cursor.execute(query)
        return cursor.fetchall()


def needs(backend: str) -> None:
    """Skip where another backend is in use."""
    if store.backend() != backend:
        pytest.skip(f"needs {backend}; see MILLRACE_PG_BIN at the head of this file")


def walk(seed: int) -> Block:
    """Ten hours of values that wander, with holes."""
    rng = np.random.default_rng(seed)
    codes = rng.normal(0, 3, (2, ROWS)).cumsum(axis=1).astype(np.int16)
    codes[:, rng.random(ROWS) < 0.1] = EMPTY
    time = START + np.arange(ROWS) * np.timedelta64(12, "s")
    return Block(time, {"suction_temperature": codes[0]}, {(1, "setpoint"): codes[1]})


def test_the_backend_is_what_the_server_has() -> None:
    with connection.cursor() as cursor:
        cursor.execute(statements.filled("extension_ready"))
        expected = "hypertable" if cursor.fetchone()[0] else "partitions"
    assert store.backend() == expected


def test_a_partition_is_a_week_that_begins_on_monday() -> None:
    assert partitions.week_of(date(2026, 1, 4)) == date(2025, 12, 29)
    assert partitions.week_of(date(2026, 1, 5)) == date(2026, 1, 5)
    assert partitions.name(date(2026, 1, 5)) == "samples_20260105"


def test_partitions_are_made_for_the_days_that_come() -> None:
    needs("partitions")
    before = len(ask("SELECT FROM pg_inherits WHERE inhparent = 'samples'::regclass"))
    system = registered()
    far = Block(
        np.array(["1999-12-31T23:59:59", "2071-03-01T00:00:00"], "datetime64[us]"),
        {"suction_temperature": np.array([1, 2], np.int16)},
        {},
    )
    store.merge(system.id, far)
    after = len(ask("SELECT FROM pg_inherits WHERE inhparent = 'samples'::regclass"))
    assert after == before + 2
    assert ask("SELECT tableoid::regclass::text FROM samples ORDER BY ts") == [
        ("samples_19991227",),
        ("samples_20710223",),
    ]


def test_a_read_looks_into_its_own_pieces_only() -> None:
    system = registered()
    for week in range(4):
        block = walk(week)
        moved = block.time + np.timedelta64(7 * week, "D")
        store.merge(system.id, Block(moved, block.outdoor, block.indoor))
    ((plan,),) = ask(
        "EXPLAIN (FORMAT JSON) SELECT suction_temperature FROM samples "
        f"WHERE system_id = {system.id} "
        "AND ts >= '2026-01-05 12:00+00' AND ts < '2026-01-06 00:00+00'"
    )
    assert len(set(re.findall(r"'Relation Name': '(\w+)'", str(plan)))) == 1, plan


def test_dropping_and_creating_again_leaves_an_empty_store() -> None:
    columns = [row[0] for row in ask(
        "SELECT attname FROM pg_attribute WHERE attrelid = 'samples'::regclass "
        "AND atttypid = 'int2'::regtype ORDER BY attnum"
    )]  # fmt: skip
    system = registered()
    with transaction.atomic():
        store.merge(system.id, walk(1))
        schema.drop(connection)
        schema.create(connection, [str(name) for name in columns])
        assert store.extent(system.id) is None
        store.merge(system.id, walk(1))
        assert store.extent(system.id) is not None
        transaction.set_rollback(True)


def test_compressed_chunks_read_back_bit_by_bit_and_take_late_rows() -> None:
    needs("hypertable")
    system = registered()
    first, second = walk(1), walk(2)
    store.merge(system.id, first)
    plain = dump(system)
    before, after = compress()
    assert after < before / 3
    assert dump(system) == plain
    differing = store.merge(system.id, second)
    assert differing.cells_filled > 0, "holes are filled in compressed rows"
    assert differing.cells_differing > 0
    late = Block(first.time + np.timedelta64(1, "s"), first.outdoor, first.indoor)
    assert store.merge(system.id, late).rows_new == ROWS
    replaced = store.merge(system.id, second, replace=True)
    assert replaced.cells_replaced == differing.cells_differing
    start = datetime(2026, 1, 5, tzinfo=UTC)
    samples = store.read(system, start, start.replace(day=6))
    assert len(samples) == 2 * ROWS
    given = second.outdoor["suction_temperature"]
    read = samples.outdoor["suction_temperature"][::2]
    assert np.allclose(read[given != EMPTY], 273.15 + given[given != EMPTY] / 100)


def compress() -> tuple[int, int]:
    """Compress every chunk; bytes before and after."""
    ask("SELECT compress_chunk(chunk) FROM show_chunks('samples') AS chunk")
    sizes = ask(
        "SELECT before_compression_total_bytes, after_compression_total_bytes "
        "FROM hypertable_columnstore_stats('samples')"
    )
    return int(str(sizes[0][0])), int(str(sizes[0][1]))
