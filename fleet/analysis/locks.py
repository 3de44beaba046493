"""PostgreSQL advisory locks: they go when the process that holds them dies."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import date
from enum import IntEnum

from django.db import connection


class Lock(IntEnum):
    """First key of each kind of lock; the second says which of its kind."""

    SWEEP = 0x4D520001
    STANDING = 0x4D520002
    LESSON = 0x4D520003
    NOTICES = 0x4D520004


def take(lock: Lock, which: int) -> None:
    """Wait for a lock and hold it until the caller's transaction ends."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT pg_advisory_xact_lock(%s, %s)", (lock, which))


def try_take(lock: Lock, which: int = 0) -> bool:
    """Hold a lock until the caller's transaction ends, or say at once that another has it."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT pg_try_advisory_xact_lock(%s, %s)", (lock, which))
        return bool(cursor.fetchone()[0])


@contextmanager
def sole_on_day(system_id: int, day: date) -> Iterator[bool]:
    """Hold a system's day while the block runs; False if another process has it.

    Lasts over transactions. A row lock would hold up uploads of the same day meanwhile.
    """
    # One 64-bit key, a space of its own beside the pairs above: days fit into 22 bits.
    key = (system_id << 22) | day.toordinal()
    with connection.cursor() as cursor:
        cursor.execute("SELECT pg_try_advisory_lock(%s)", (key,))
        alone = bool(cursor.fetchone()[0])
    try:
        yield alone
    finally:
        if alone and connection.is_usable():
            with connection.cursor() as cursor:
                cursor.execute("SELECT pg_advisory_unlock(%s)", (key,))
