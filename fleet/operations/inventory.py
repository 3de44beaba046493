"""What a database holds: rows and a checksum of every table of ours, as one transaction sees it."""

from __future__ import annotations

from dataclasses import dataclass

from django.db import connection
from psycopg import sql

TABLES = """
SELECT relname FROM pg_class
WHERE relnamespace = current_schema()::regnamespace AND relkind IN ('r', 'p')
  AND NOT relispartition ORDER BY relname
"""
# Adding up makes the order of rows not matter; equal rows hash alike on servers of one version.
SUM_OF_HASHES = "SELECT count(*), coalesce(sum(hash_record_extended(t, 0)), 0)::text FROM {} AS t"


@dataclass(frozen=True)
class Content:
    """Rows of one table, and the sum of their hashes."""

    rows: int
    checksum: str


def take() -> dict[str, Content]:
    """Content by table name. Reads every row."""
    found: dict[str, Content] = {}
    with connection.cursor() as cursor:
        cursor.execute(TABLES)
        for (name,) in cursor.fetchall():
            cursor.execute(sql.SQL(SUM_OF_HASHES).format(sql.Identifier(name)))
            rows, checksum = cursor.fetchone()
            found[name] = Content(int(rows), checksum)
    return found


def is_empty() -> bool:
    """True where the database has no table yet."""
    with connection.cursor() as cursor:
        cursor.execute(TABLES)
        return cursor.fetchone() is None


def differences(expected: dict[str, Content], found: dict[str, Content]) -> list[str]:
    """What is not as expected, in words."""
    told = []
    for name in sorted(expected | found):
        one, other = expected.get(name), found.get(name)
        if one is None or other is None:
            told.append(f"{name} {'was not in the backup' if one is None else 'is missing'}")
        elif one.rows != other.rows:
            told.append(f"{name} has {other.rows} rows instead of {one.rows}")
        elif one.checksum != other.checksum:
            told.append(f"{name} has rows that differ")
    return told
