"""Bytes per stored value after compression by TimescaleDB, read back bit by bit.

    MILLRACE_PG_BIN=/path/to/pg/bin python -m tests.benchmarks.storage --days 2

The programs must have TimescaleDB with its columnstore; elsewhere nothing is measured. Values are
those of the demo's buildings, logged every 10 s; an empty cell is no value.
"""

from __future__ import annotations

import argparse
import hashlib
import sys
from collections import Counter
from datetime import UTC, datetime
from time import perf_counter

import numpy as np

from fixtures import demo
from fixtures.simulator.simulate import simulate
from fixtures.simulator.write import manifest, upload_frame
from tests.benchmarks import private

private.prepare()

from django.db import connection, transaction  # noqa: E402  needs the line above

from diagnostics.channels import EMPTY, Quantity  # noqa: E402
from fleet.ingest import circumstances  # noqa: E402
from fleet.ingest.manifest import register  # noqa: E402
from fleet.ingest.parse import parse  # noqa: E402
from fleet.models import System  # noqa: E402
from fleet.timeseries import store  # noqa: E402
from fleet.timeseries.columns import INDOOR_COLUMNS, OUTDOOR_COLUMNS  # noqa: E402

END = datetime(2026, 7, 8, tzinfo=UTC)
GOAL_BYTES = 0.7
COMPRESS = "SELECT compress_chunk(chunk) FROM show_chunks('samples') AS chunk"
SIZES = """
SELECT before_compression_total_bytes, after_compression_total_bytes
FROM hypertable_columnstore_stats('samples')
"""
COLUMN_SIZES = """
SELECT coalesce(sum(pg_column_size({column})), 0) FROM {table}
"""
COMPRESSED_TABLES = """
SELECT compress_relid::regclass FROM _timescaledb_catalog.compression_settings
WHERE compress_relid IS NOT NULL
"""


def ask(query: str) -> list[tuple[object, ...]]:
    """Rows of a query."""
    with connection.cursor() as cursor:
        cursor.execute(query)
        return list(cursor.fetchall())


def load(days: int, most_systems: int) -> tuple[Counter[str], int]:
    """Store the demo's systems; values by column, and rows."""
    values: Counter[str] = Counter()
    rows = done = 0
    for site in demo.sites(END, min(days, demo.FINE_DAYS)):
        registered = {system.code: system for system in register(manifest(site)).systems.all()}
        for spec in site.systems[: most_systems - done]:
            system = registered[spec.code]
            body = upload_frame(site, simulate(spec)).write_csv().encode()
            block = parse(body, circumstances.of(system)).block
            with transaction.atomic():
                rows += store.merge(system.id, block).rows_new
            columns, codes = block.table()
            counts = (codes != EMPTY).sum(axis=0)
            values.update(dict(zip(columns, counts.tolist(), strict=True)))
            done += 1
    return values, rows


def digest() -> str:
    """Of every sample of every system, bit by bit."""
    found = hashlib.sha256()
    for system in System.objects.select_related("site").order_by("pk"):
        samples = store.read(system, datetime(2000, 1, 1, tzinfo=UTC), END.replace(year=2099))
        found.update(samples.time.tobytes())
        for name, array in [*sorted(samples.outdoor.items()), *sorted(samples.indoor.items())]:
            found.update(name.encode() + np.ascontiguousarray(array).tobytes())
    return found.hexdigest()


def by_quantity(values: Counter[str]) -> dict[str, tuple[int, int]]:
    """Values and compressed bytes of each kind of channel."""
    tables = [str(row[0]) for row in ask(COMPRESSED_TABLES)]
    found: dict[str, tuple[int, int]] = {}
    for column, count in values.items():
        channel = OUTDOOR_COLUMNS.get(column) or INDOOR_COLUMNS[column][1]
        kind = {Quantity.CHOICE: "choice", Quantity.FLAG: "flag"}.get(
            channel.quantity, str(channel.quantity)
        )
        if kind == "temperature":
            kind = "refrigerant" if column in OUTDOOR_COLUMNS else "indoor"
            kind += " temperature"
        size = sum(
            int(str(ask(COLUMN_SIZES.format(column=column, table=table))[0][0])) for table in tables
        )
        before = found.get(kind, (0, 0))
        found[kind] = (before[0] + count, before[1] + size)
    return found


def main() -> int:
    """Load, compress, measure, read back; 1 above the goal or when bits differ."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--days", type=int, default=2, help="1 to 4")
    parser.add_argument("--systems", type=int, default=100, help="at most")
    given = parser.parse_args()
    if store.backend() != "hypertable":
        print("skipped: this PostgreSQL has no TimescaleDB; see MILLRACE_PG_BIN")  # noqa: T201
        return 0
    values, rows = load(given.days, given.systems)
    before = digest()
    began = perf_counter()
    ask(COMPRESS)
    took = perf_counter() - began
    ((plain, packed),) = ask(SIZES)
    same = digest() == before
    total = values.total()
    each = int(str(packed)) / total
    version = ask("SELECT extversion FROM pg_extension WHERE extname = 'timescaledb'")[0][0]
    print(f"TimescaleDB           {version}")  # noqa: T201
    print(f"systems, rows, values {System.objects.count()}, {rows}, {total}")  # noqa: T201
    print(f"row store with index  {int(str(plain)) / total:.3f} bytes a value")  # noqa: T201
    print(f"columnstore, total    {each:.3f} bytes a value (goal {GOAL_BYTES})")  # noqa: T201
    for kind, (count, size) in sorted(by_quantity(values).items()):
        print(f"  {kind:<24}{size / count:.3f}  of {count} values")  # noqa: T201
    print(f"compressed            {rows / took:.0f} rows/s")  # noqa: T201
    print(f"read back bit-exact   {'yes' if same else 'NO'}")  # noqa: T201
    return 0 if same and each <= GOAL_BYTES else 1


if __name__ == "__main__":
    sys.exit(main())
