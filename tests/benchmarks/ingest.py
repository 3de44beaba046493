"""Taking uploads in against psql's ``\\copy`` of the same clean rows into the same table.

    python -m tests.benchmarks.ingest --uploads 20 --rounds 5

Each round does both, one after the other, each from an empty table: (1) gunzip, parse, validate,
merge, store and report of every upload, by the function that workers call; (2) the rows that came
of it, as CSV of codes, by one ``\\copy``. With MILLRACE_PG_BIN the table is a hypertable.
"""

from __future__ import annotations

import argparse
import gzip
import os
import statistics
import subprocess
import sys
import tempfile
from datetime import UTC, datetime, timedelta
from pathlib import Path
from time import perf_counter

from fixtures import demo
from fixtures.simulator.simulate import simulate
from fixtures.simulator.write import manifest, upload_frame
from tests.benchmarks import private

private.prepare()

from django.db import connection  # noqa: E402  needs the line above

from fleet.embedded.binaries import client_program  # noqa: E402
from fleet.ingest.manifest import register  # noqa: E402
from fleet.ingest.receive import receive  # noqa: E402
from fleet.ingest.take_in import take_in  # noqa: E402
from fleet.models import System, Upload, UploadState  # noqa: E402
from fleet.timeseries import store  # noqa: E402

END = datetime(2026, 7, 8, tzinfo=UTC)
GOAL = 0.6
EMPTY_THE_STORE = "TRUNCATE samples, sample_days"
USED_COLUMNS = """
SELECT attname FROM pg_attribute WHERE attrelid = 'samples'::regclass AND attnum > 0
AND attname = ANY(%s) ORDER BY attnum
"""


def bodies(uploads: int) -> tuple[System, list[bytes], int]:
    """System-days of one system of eight units at 10 s, packed; how many rows each."""
    site = demo.sites(END, 1)[0]
    spec = site.systems[0]
    system = register(manifest(site)).systems.select_related("site").get(code=spec.code)
    frame = upload_frame(site, simulate(spec))
    packed = [
        gzip.compress(_moved(frame.write_csv(), day).encode(), mtime=0) for day in range(uploads)
    ]
    return system, packed, frame.height


def _moved(text: str, days: int) -> str:
    """The same day some days later: what a value is does not matter to the speed."""
    day = (END - timedelta(days=1)).date()
    return text.replace(f"{day}T", f"{day + timedelta(days=days)}T")


def take_everything_in(system: System, packed: list[bytes]) -> float:
    """Seconds from uploads stored to samples committed."""
    Upload.objects.all().delete()
    _execute(EMPTY_THE_STORE)
    stored = [receive(system, f"{at}.csv.gz", body)[0] for at, body in enumerate(packed)]
    began = perf_counter()
    done = [take_in(upload.pk) for upload in stored]
    took = perf_counter() - began
    assert {upload.state for upload in done} == {UploadState.TAKEN_IN}
    return took


def copy(file: Path, columns: str) -> float:
    """Seconds of ``\\copy`` into the empty table."""
    _execute(EMPTY_THE_STORE)
    began = perf_counter()
    _psql(f"\\copy samples ({columns}) FROM '{file}' CSV")
    return perf_counter() - began


def write_rows(file: Path) -> str:
    """The stored rows as CSV of the columns in use; their names."""
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT array(SELECT jsonb_object_keys(jsonb_strip_nulls(to_jsonb(s)))) "
            "FROM samples s LIMIT 1"
        )
        (used,) = cursor.fetchone()
        cursor.execute(USED_COLUMNS, [used])
        columns = ", ".join(row[0] for row in cursor.fetchall())
    file.touch(mode=0o644)
    _psql(f"\\copy (SELECT {columns} FROM samples ORDER BY ts) TO '{file}' CSV")
    return columns


def _execute(statement: str) -> None:
    with connection.cursor() as cursor:
        cursor.execute(statement)


def _psql(command: str) -> None:
    settings = connection.get_connection_params()
    environment = os.environ | {
        "PGHOST": str(settings["host"]),
        "PGPORT": str(settings["port"]),
        "PGUSER": str(settings["user"]),
        "PGDATABASE": str(settings["dbname"]),
        "PGPASSFILE": str(settings["passfile"]),
    }
    subprocess.run(
        [client_program("psql"), "-X", "-q", "-v", "ON_ERROR_STOP=1", "-c", command],
        env=environment, check=True, capture_output=True,
    )  # fmt: skip


def main() -> int:
    """Print both speeds and their ratio; 1 below the goal."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--uploads", type=int, default=20)
    parser.add_argument("--rounds", type=int, default=5)
    given = parser.parse_args()
    system, packed, rows_each = bodies(given.uploads)
    rows = rows_each * given.uploads
    take_everything_in(system, packed)  # makes partitions, warms up
    ours, theirs = [], []
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "rows.csv"
        columns = write_rows(file)
        copy(file, columns)
        for _ in range(given.rounds):
            ours.append(take_everything_in(system, packed))
            theirs.append(copy(file, columns))
    ratio = statistics.median(a / b for a, b in zip(theirs, ours, strict=True))
    channels = columns.count(",") - 1
    print(f"{store.backend()}: {given.uploads} uploads, {rows} rows, {channels} channels")  # noqa: T201
    print(f"take in  {rows / statistics.median(ours):9.0f} rows/s")  # noqa: T201
    print(f"\\copy    {rows / statistics.median(theirs):9.0f} rows/s")  # noqa: T201
    spread = ", ".join(f"{a / b:.2f}" for a, b in zip(theirs, ours, strict=True))
    print(f"ratio    {ratio:.2f} (goal {GOAL}; rounds {spread})")  # noqa: T201
    return 0 if ratio >= GOAL else 1


if __name__ == "__main__":
    sys.exit(main())
