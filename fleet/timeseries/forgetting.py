"""Removing samples for good: all before a day, piece by piece, or all of some systems."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from datetime import UTC, date

from django.db import connection, transaction
from psycopg import sql

from fleet.instants import midnight
from fleet.timeseries import partitions, statements, store


@dataclass(frozen=True)
class Old:
    """What lies before ``boundary``, the first day that stays; None where no piece can go."""

    boundary: date | None
    systems: int = 0
    days: int = 0
    rows: int = 0


def before(day: date) -> Old:
    """What could be dropped so that everything from ``day`` on stays.

    Only whole pieces go: dropping one takes milliseconds, deleting its rows takes hours.
    """
    boundary = _boundary(day)
    if boundary is None:
        return Old(None)
    with connection.cursor() as cursor:
        cursor.execute(statements.plain("days_before"), [boundary])
        systems, days, rows = cursor.fetchone()
    return Old(boundary, int(systems), int(days), int(rows))


@transaction.atomic
def drop_before(boundary: date) -> None:
    """Drop the pieces that end by ``boundary``, as `before` gave it.

    Raises OperationalError when the table is not free within ten seconds; nothing is dropped then.
    """
    with connection.cursor() as cursor:
        cursor.execute(statements.plain("patience"))
        if store.backend() == "hypertable":
            cursor.execute(statements.plain("drop_chunks"), [midnight(boundary)])
        else:
            cursor.execute(statements.plain("partitions_before"), [partitions.name(boundary)])
            for (name,) in cursor.fetchall():
                blank = sql.Identifier(name)
                cursor.execute(statements.filled("drop_partition", partition=blank))
        cursor.execute(statements.plain("forget_days_before"), [boundary])


def rows_of(system_ids: Collection[int]) -> int:
    """Number of stored rows of some systems."""
    with connection.cursor() as cursor:
        cursor.execute(statements.plain("rows_of"), [list(system_ids)])
        return int(cursor.fetchone()[0])


def forget(system_ids: Collection[int]) -> None:
    """Delete every sample of some systems, in the caller's transaction."""
    with connection.cursor() as cursor:
        for statement in ("forget_samples_of", "forget_days_of"):
            cursor.execute(statements.plain(statement), [list(system_ids)])


def _boundary(day: date) -> date | None:
    if store.backend() == "partitions":
        monday = partitions.week_of(day)
        with connection.cursor() as cursor:
            cursor.execute(statements.plain("partitions_before"), [partitions.name(monday)])
            return monday if cursor.fetchall() else None
    with connection.cursor() as cursor:
        cursor.execute(statements.plain("chunks_before"), [midnight(day)])
        end = cursor.fetchone()[0]
    return None if end is None else end.astimezone(UTC).date()
