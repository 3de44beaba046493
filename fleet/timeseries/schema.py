"""Creating the tables of the samples; called by a migration."""

from __future__ import annotations

from collections.abc import Iterable

from django.db.backends.base.base import BaseDatabaseWrapper
from psycopg import sql

from fleet.timeseries import statements

CHUNK = "7 days"
"""As with partitions, and for the same reason: over two years of chunks, planning a query takes
2.2 s with chunks of a day and 0.1 s with chunks of a week, a day's read below 1 ms with both."""

COMPRESS_AFTER = "7 days"


def create(connection: BaseDatabaseWrapper, columns: Iterable[str]) -> None:
    """Create the samples with these int2 columns: a hypertable where that can be had."""
    with connection.cursor() as cursor:
        cursor.execute(statements.filled("extension_ready"))
        hypertable = bool(cursor.fetchone()[0])
        if hypertable:
            cursor.execute(statements.plain("create_extension"))
        partitioning = sql.SQL("" if hypertable else "PARTITION BY RANGE (ts)")
        codes = sql.SQL(", ").join(sql.SQL("{} int2").format(sql.Identifier(c)) for c in columns)
        cursor.execute(
            statements.filled("create_samples", columns=codes, partitioning=partitioning)
        )
        cursor.execute(statements.plain("create_sample_days"))
        if hypertable:
            cursor.execute(statements.filled("create_hypertable", chunk=CHUNK))
            cursor.execute(statements.plain("columnstore_licensed"))
            if cursor.fetchone()[0]:
                cursor.execute(statements.plain("use_columnstore"))
                cursor.execute(statements.filled("compress_after", age=COMPRESS_AFTER))


def drop(connection: BaseDatabaseWrapper) -> None:
    """Remove the samples and the list of their days."""
    with connection.cursor() as cursor:
        cursor.execute(statements.plain("drop_samples"))
