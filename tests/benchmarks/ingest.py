"""Taking uploads in against psql's ``\\copy`` of the same clean rows into the same table.

    python -m tests.benchmarks.ingest --uploads 20 --rounds 7 --bar 0.6

Each round does three things, one after the other, each from an empty table: (1) gunzip, parse,
validate, merge, store and report of every upload, by the function that workers call; (2) the rows
that came of it, as CSV of codes, by one ``\\copy``; (3) as the limit of what any client can reach,
the same rows as ready bytes by one binary COPY. Ratios are of one round, so that what else the
machine does weighs on both; the interval is a 95 % bootstrap of their median. Ends with 1 if the
median is below the bar. With MILLRACE_PG_BIN the table is a hypertable.
"""

from __future__ import annotations

import argparse
import gzip
import os
import statistics
import subprocess
import sys
import tempfile
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from time import perf_counter

import numpy as np
from psycopg.sql import Composed

from fixtures import demo
from fixtures.simulator.simulate import simulate
from fixtures.simulator.write import manifest, upload_frame
from tests.benchmarks import private
from tests.benchmarks.telling import say

private.prepare()

from django.db import connection  # noqa: E402  needs the line above

from fleet.embedded.binaries import client_program  # noqa: E402
from fleet.ingest import circumstances  # noqa: E402
from fleet.ingest.manifest import register  # noqa: E402
from fleet.ingest.parse import parse  # noqa: E402
from fleet.ingest.receive import receive  # noqa: E402
from fleet.ingest.take_in import take_in  # noqa: E402
from fleet.models import System, Upload, UploadState  # noqa: E402
from fleet.timeseries import binary, statements, store  # noqa: E402

END = datetime(2026, 7, 8, tzinfo=UTC)
BAR = 0.6
TAKE_IN, COPY, BARE = "take in", "\\copy", "binary COPY"
RESAMPLES = 10_000
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


def bare(statement: Composed, data: list[bytes]) -> float:
    """Seconds of binary COPY, all in one message stream, into the empty table."""
    _execute(EMPTY_THE_STORE)
    began = perf_counter()
    with connection.cursor() as cursor, cursor.copy(statement) as sink:
        for each in data:
            sink.write(each)
    return perf_counter() - began


def ready_rows(system: System, packed: list[bytes]) -> tuple[Composed, list[bytes]]:
    """The statement for ``bare``, and what it is sent."""
    known = circumstances.of(System.objects.select_related("site").get(pk=system.pk))
    blocks = [parse(body, known).block for body in packed]
    columns = blocks[0].table()[0]
    data = [
        bytes(binary.rows(block.time, block.table()[1], system_id=system.pk)) for block in blocks
    ]
    statement = statements.filled("append", columns=statements.column_list(columns))
    return statement, [binary.HEADER, *data, binary.TRAILER]


def interval(ratios: list[float]) -> tuple[float, float]:
    """Where the median of the rounds lies, with 95 %, by drawing rounds anew."""
    drawn = np.random.default_rng(1).choice(ratios, (RESAMPLES, len(ratios)))
    low, high = np.quantile(np.median(drawn, axis=1), [0.025, 0.975])
    return float(low), float(high)


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


@dataclass(frozen=True)
class Raced:
    """Seconds of each round by what was done; rows and channels of one round."""

    seconds: dict[str, list[float]]
    rows: int
    channels: int

    def ratios(self, name: str) -> list[float]:
        """Speed of one against ``\\copy``, round by round."""
        return [a / b for a, b in zip(self.seconds[COPY], self.seconds[name], strict=True)]


def race(uploads: int, rounds: int) -> Raced:
    """All three in turn, so often."""
    system, packed, rows_each = bodies(uploads)
    take_everything_in(system, packed)  # makes partitions, warms up
    seconds: dict[str, list[float]] = {TAKE_IN: [], COPY: [], BARE: []}
    with tempfile.TemporaryDirectory() as folder:
        Path(folder).chmod(0o755)
        file = Path(folder) / "rows.csv"
        columns = write_rows(file)
        limit = ready_rows(system, packed)
        copy(file, columns)
        for _ in range(rounds):
            seconds[TAKE_IN].append(take_everything_in(system, packed))
            seconds[COPY].append(copy(file, columns))
            seconds[BARE].append(bare(*limit))
    return Raced(seconds, rows_each * uploads, columns.count(",") - 1)


def main() -> int:
    """Print the three speeds and their ratios; 1 below the bar."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--uploads", type=int, default=20)
    parser.add_argument("--rounds", type=int, default=7)
    parser.add_argument("--bar", type=float, default=BAR)
    given = parser.parse_args()
    raced = race(given.uploads, given.rounds)
    told = f"{given.uploads} uploads, {raced.rows} rows, {raced.channels} channels"
    say(f"{store.backend()}: {told}")
    for name, each in raced.seconds.items():
        middle, low, high = (raced.rows / q for q in np.quantile(each, [0.5, 1.0, 0.0]))
        say(f"{name:12} {middle:8.0f} rows/s ({low:.0f} to {high:.0f})")
    ratio = _ratio(TAKE_IN, raced)
    _ratio(BARE, raced)
    say(f"bar {given.bar}: {'reached' if ratio >= given.bar else 'MISSED'}")
    return 0 if ratio >= given.bar else 1


def _ratio(name: str, raced: Raced) -> float:
    """Print and return the speed of one against ``\\copy``."""
    ratios = raced.ratios(name)
    median = statistics.median(ratios)
    low, high = interval(ratios)
    rounds = ", ".join(f"{ratio:.2f}" for ratio in ratios)
    say(f"{name} / \\copy {median:.2f} ({low:.2f} to {high:.2f}; rounds {rounds})")
    return median


if __name__ == "__main__":
    sys.exit(main())
