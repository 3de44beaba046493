"""Backup of the database into a folder, and its restoration, checked row by row."""

from __future__ import annotations

import contextlib
import json
import os
import shutil
import subprocess
from dataclasses import asdict, dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from django.db import connection, transaction
from django.db.migrations.loader import MigrationLoader

from fleet.embedded.binaries import client_program, version_of
from fleet.embedded.errors import EmbeddedError
from fleet.operations import inventory
from fleet.operations.inventory import Content

DUMP, CONTENTS = "millrace.dump", "contents.json"
FORMAT = 1


class CopyError(Exception):
    """A backup or restoration that cannot be made; the message says why and what to do."""


@dataclass(frozen=True)
class Made:
    """A backup: when, of which server, which migrations it has and what every table holds."""

    at: str
    server: str
    timescaledb: str | None
    migrations: tuple[tuple[str, str], ...]
    tables: dict[str, Content]

    def write(self, folder: Path) -> None:
        """Write it down beside the dump."""
        told = {"format": FORMAT, **asdict(self)}
        with (folder / CONTENTS).open("w", encoding="utf-8") as file:
            json.dump(told, file, indent=1)
            file.flush()
            os.fsync(file.fileno())

    @classmethod
    def read(cls, folder: Path) -> Made:
        """Read what `write` wrote. Raises CopyError."""
        try:
            told: dict[str, Any] = json.loads((folder / CONTENTS).read_text(encoding="utf-8"))
        except (OSError, ValueError) as error:
            raise CopyError(f"{folder} is no backup: {CONTENTS} cannot be read ({error})") from None
        if told.get("format") != FORMAT:
            raise CopyError(f"{folder} has format {told.get('format')}, known is {FORMAT}")
        tables = {name: Content(**content) for name, content in told["tables"].items()}
        migrations = tuple((app, name) for app, name in told["migrations"])
        return cls(told["at"], told["server"], told["timescaledb"], migrations, tables)


def backup(folder: Path, now: datetime) -> Made:
    """Dump the database into a new folder, with what it held at that very moment.

    Services may go on working. The folder appears under its name once it is whole.
    Raises CopyError.
    """
    draft = folder.with_name(f"{folder.name}.partial")
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise CopyError(f"{folder} is there already: name a new folder")
    try:
        draft.mkdir(mode=0o700, parents=True)
    except FileExistsError:
        raise CopyError(
            f"{draft} is left over from a backup that was interrupted or still runs: remove it"
        ) from None
    try:
        made = _dump(draft, now)
        made.write(draft)
        if folder.exists():
            folder.rmdir()
        draft.rename(folder)
    finally:
        shutil.rmtree(draft, ignore_errors=True)
    return made


def restore(folder: Path) -> Made:
    """Fill the empty database from a backup and check every table against what it held.

    Raises CopyError: no backup, a database that is not empty, a newer release's backup, or a
    table that does not come out as it went in.
    """
    made = Made.read(folder)
    if not inventory.is_empty():
        raise CopyError(
            "the database is not empty: restore into a new one, by another MILLRACE_DATA or "
            "DATABASE_URL, and switch over when it is checked"
        )
    known = set(MigrationLoader(connection).graph.nodes)
    if unknown := [f"{app}.{name}" for app, name in made.migrations if (app, name) not in known]:
        raise CopyError(f"the backup is of a newer release, which has {', '.join(unknown)}")
    _load(folder / DUMP, made)
    if told := inventory.differences(made.tables, inventory.take()):
        raise CopyError(f"not restored as it was: {'; '.join(told)}")
    return made


def _dump(draft: Path, now: datetime) -> Made:
    with transaction.atomic(), connection.cursor() as cursor:
        # One moment for the dump and for what is written down beside it.
        cursor.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ READ ONLY")
        cursor.execute("SELECT pg_export_snapshot()")
        (snapshot,) = cursor.fetchone()
        _run("pg_dump", f"--snapshot={snapshot}", "--format=custom", f"--file={draft / DUMP}")
        with (draft / DUMP).open("rb") as file:
            os.fsync(file.fileno())
        cursor.execute("SELECT app, name FROM django_migrations ORDER BY app, name")
        migrations = tuple(cursor.fetchall())
        cursor.execute("SHOW server_version")
        (server,) = cursor.fetchone()
        return Made(now.isoformat(), server, _timescaledb(), migrations, inventory.take())


def _load(dump: Path, made: Made) -> None:
    options = ["--no-owner", "--no-privileges", "--exit-on-error"]
    name = str(connection.get_connection_params()["dbname"])
    if made.timescaledb is None:
        _run("pg_restore", *options, "--single-transaction", f"--dbname={name}", str(dump))
        return
    with connection.cursor() as cursor:
        cursor.execute("CREATE EXTENSION IF NOT EXISTS timescaledb")
        if (version := _timescaledb()) != made.timescaledb:
            raise CopyError(
                f"the backup needs TimescaleDB {made.timescaledb}, the server has {version}: "
                "restore it where that version is, then update the extension"
            )
        cursor.execute("SELECT timescaledb_pre_restore()")
        try:
            _run("pg_restore", *options, f"--dbname={name}", str(dump))
        finally:
            cursor.execute("SELECT timescaledb_post_restore()")


def _timescaledb() -> str | None:
    with connection.cursor() as cursor:
        cursor.execute("SELECT extversion FROM pg_extension WHERE extname = 'timescaledb'")
        row = cursor.fetchone()
    return None if row is None else str(row[0])


def _run(program: str, *arguments: str) -> None:
    """Run a client program of PostgreSQL on the database in use. Raises CopyError."""
    chosen, with_settings = _program(program), os.environ | _client_settings()
    try:
        subprocess.run(  # noqa: S603
            [chosen, *arguments],
            env=with_settings,
            check=True,
            capture_output=True,
            text=True,
        )
    except subprocess.CalledProcessError as error:
        raise CopyError(f"{program} failed: {error.stderr.strip()[-2000:]}") from None


def _client_settings() -> dict[str, str]:
    """The connection as libpq's environment variables: a password must not be an argument."""
    params = connection.get_connection_params()
    names = {"host": "PGHOST", "port": "PGPORT", "user": "PGUSER", "password": "PGPASSWORD",
             "dbname": "PGDATABASE", "passfile": "PGPASSFILE", "sslmode": "PGSSLMODE"}  # fmt: skip
    return {names[key]: str(value) for key, value in params.items() if key in names and value}


def _program(name: str) -> str:
    """The client nearest to the server's version, not older: of the private server, or on PATH.

    An older one refuses the server, a much newer one may use settings that the server lacks.
    """
    candidates = [shutil.which(name)]
    with contextlib.suppress(EmbeddedError):
        candidates.append(client_program(name))
    with connection.cursor() as cursor:
        cursor.execute("SELECT current_setting('server_version_num')::int / 10000")
        (server,) = cursor.fetchone()
    usable: list[tuple[int, str]] = []
    for program in filter(None, candidates):
        with contextlib.suppress(EmbeddedError):
            if (version := version_of(Path(program))[0]) >= server:
                usable.append((version, program))
    if not usable:
        raise CopyError(f"no {name} of PostgreSQL {server} or newer is on PATH: install its client")
    return min(usable)[1]
