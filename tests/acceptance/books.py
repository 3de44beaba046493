"""What a database holds in the end, asked of it directly."""

from __future__ import annotations

from dataclasses import dataclass

from tests.acceptance.pieces import CODES
from tests.embedded.harness import Stack

# Such a condition cannot be answered by an index: a damaged one must not hide a row stored twice.
_BY_READING_THE_TABLE = "system_id + 0 = {} AND discharge_pressure IS DISTINCT FROM 32767"


@dataclass(frozen=True)
class Books:
    """One site's rows.

    instants: every stored instant of each system, with repetitions.
    samples, windows: digest of each system's content; standing: its score and probabilities.
    """

    instants: dict[str, list[str]]
    samples: dict[str, str]
    windows: dict[str, tuple[int, str]]
    standing: dict[str, tuple[object, ...]]


def read(stack: Stack, site: str) -> Books:
    """Read the books of a site."""
    columns = _used_columns(stack)
    found = stack.sql(
        "SELECT system.code, system.id FROM fleet_system system "
        f"JOIN fleet_site site ON site.id = system.site_id WHERE site.code = '{site}'"
    )
    systems = {str(code): int(pk) for code, pk in found}
    assert tuple(sorted(systems)) == CODES
    return Books(
        {code: _instants(stack, pk) for code, pk in systems.items()},
        {code: _sample_digest(stack, pk, columns) for code, pk in systems.items()},
        {code: _window_digest(stack, pk) for code, pk in systems.items()},
        {code: _standing(stack, pk) for code, pk in systems.items()},
    )


def waiting(stack: Stack) -> tuple[int, int, int]:
    """Uploads stored, uploads whose analysis is not known to be done, days due."""
    ((stored, taken_in, due),) = stack.sql(
        "SELECT (SELECT count(*) FROM fleet_upload WHERE state = 'stored'), "
        "(SELECT count(*) FROM fleet_upload WHERE state = 'taken_in'), "
        "(SELECT count(*) FROM fleet_dueday)"
    )
    return int(stored), int(taken_in), int(due)


def size(stack: Stack) -> int:
    """Bytes of the database, indexes and dead rows included."""
    ((size_bytes,),) = stack.sql("SELECT pg_database_size(current_database())")
    return int(size_bytes)


def uploads(stack: Stack, site: str) -> dict[str, tuple[str, str, str]]:
    """Uploads of a site by id: system, name, state."""
    rows = stack.sql(
        "SELECT upload.id::text, system.code, upload.name, upload.state FROM fleet_upload upload "
        "JOIN fleet_system system ON system.id = upload.system_id "
        f"JOIN fleet_site site ON site.id = system.site_id WHERE site.code = '{site}'"
    )
    return {pk: (code, name, state) for pk, code, name, state in rows}


def _used_columns(stack: Stack) -> list[str]:
    """Outdoor columns and those of the first slots, which the systems use."""
    rows = stack.sql(
        "SELECT attname FROM pg_attribute WHERE attrelid = 'samples'::regclass AND attnum > 2 "
        "AND (attname ~ '^u0[0-3]_' OR attname !~ '^u[0-9]') ORDER BY attname"
    )
    return [name for (name,) in rows]


def _instants(stack: Stack, pk: int) -> list[str]:
    rows = stack.sql(
        "SELECT to_char(ts AT TIME ZONE 'UTC', 'YYYY-MM-DD\"T\"HH24:MI:SS\"Z\"') "
        f"FROM samples WHERE {_BY_READING_THE_TABLE.format(pk)}"
    )
    return [text for (text,) in rows]


def _sample_digest(stack: Stack, pk: int, columns: list[str]) -> str:
    # NULL and the code for "no value" mean the same.
    cells = ", ".join(f"coalesce({name}, -32768)" for name in columns)
    ((digest,),) = stack.sql(
        f"SELECT md5(string_agg(ROW(ts, {cells})::text, ';' ORDER BY ts)) "
        f"FROM samples WHERE system_id = {pk}"
    )
    return str(digest)


def _window_digest(stack: Stack, pk: int) -> tuple[int, str]:
    # A float's text is the shortest that reads back to the same bits.
    ((count, digest),) = stack.sql(
        "SELECT count(*), md5(string_agg(ROW(start, features)::text, ';' ORDER BY start)) "
        f"FROM fleet_window WHERE system_id = {pk}"
    )
    return int(count), str(digest)


def _standing(stack: Stack, pk: int) -> tuple[object, ...]:
    rows = stack.sql(
        'SELECT at, last_sample, score, "leading", coverage, conditions::text '
        f"FROM fleet_standing WHERE system_id = {pk}"
    )
    return rows[0] if rows else ()
