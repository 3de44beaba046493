"""A backup is proven by restoring it into another database: equal counts, equal checksums."""

from __future__ import annotations

import json
import os
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from django.core.management import call_command
from django.core.management.base import CommandError
from django.db import connection

from fleet.operations import copies, inventory
from fleet.operations.inventory import Content
from tests.embedded.harness import REPOSITORY, Stack, new_folder

SAMPLES = REPOSITORY / "fixtures" / "samples" / "quay-store"


BROKEN = """#!/bin/sh
[ "$1" = --version ] && echo "pg_dump (PostgreSQL) 99.1" && exit
echo no space left >&2
exit 1
"""


@pytest.fixture
def folder() -> Iterator[Path]:
    """Where the servers' account may pass through."""
    folder = new_folder()
    try:
        yield folder
    finally:
        shutil.rmtree(folder, ignore_errors=True)


@pytest.mark.timeout(240)
def test_a_restored_backup_holds_the_same(folder: Path) -> None:
    first, second = Stack(folder / "first"), Stack(folder / "second")
    backup = folder / "backup"
    try:
        first.use()
        for arguments in (["migrate", "--verbosity=0"], ["load_site", "--wait", str(SAMPLES)]):
            done = first.manage(*arguments)
            assert done.returncode == 0, done.stderr
        done = first.manage("backup", str(backup))
        assert done.returncode == 0, done.stderr
        assert sorted(path.name for path in backup.iterdir()) == ["contents.json", "millrace.dump"]
        assert backup.stat().st_mode & 0o077 == 0, "clients' data are nobody else's"

        second.use()
        done = second.manage("restore", str(backup))
        assert done.returncode == 0, done.stderr
        assert "counts and checksums are equal" in done.stdout
        ranked = [each.manage("rank", "--format", "json", "--at", "2026-12-01T00:00:00Z").stdout
                  for each in (first, second)]  # fmt: skip
        assert json.loads(ranked[0])["sites"]
        assert ranked[0] == ranked[1]
        tables = json.loads((backup / "contents.json").read_text())["tables"]
        assert tables["samples"]["rows"] > 1000
        assert tables["fleet_window"]["rows"] > 10
        assert second.manage("migrate", "--check").returncode == 0

        again = second.manage("restore", str(backup))
        assert again.returncode == 1
        assert "the database is not empty: restore into a new one" in again.stderr
    finally:
        for stack in (first, second):
            stack.close()


def test_a_row_that_changed_on_the_way_would_be_seen() -> None:
    before = {"kept": Content(2, "10"), "lost": Content(1, "5"), "short": Content(9, "7")}
    after = {"kept": Content(2, "11"), "short": Content(8, "7"), "strange": Content(0, "0")}
    assert inventory.differences(before, after) == [
        "kept has rows that differ",
        "lost is missing",
        "short has 8 rows instead of 9",
        "strange was not in the backup",
    ]
    assert inventory.differences(before, before) == []


@pytest.mark.django_db
def test_a_checksum_does_not_see_order_but_every_change() -> None:
    def content() -> Content:
        return inventory.take()["strewn"]

    with connection.cursor() as cursor:
        cursor.execute("CREATE TABLE strewn (a int, b float8[], c bytea)")
        cursor.execute("INSERT INTO strewn VALUES (1, '{1,NaN}', 'x'), (2, NULL, NULL)")
        first = content()
        cursor.execute("TRUNCATE strewn")
        cursor.execute("INSERT INTO strewn VALUES (2, NULL, NULL), (1, '{1,NaN}', 'x')")
        assert content() == first
        cursor.execute("UPDATE strewn SET b = '{1,2}' WHERE a = 1")
        assert content() != first


def test_a_folder_in_use_is_refused(folder: Path) -> None:
    (folder / "something").touch()
    with pytest.raises(CommandError, match="is there already: name a new folder") as caught:
        call_command("backup", str(folder))
    assert caught.value.returncode == 1


def test_a_folder_that_is_no_backup_is_refused(folder: Path) -> None:
    with pytest.raises(CommandError, match=r"is no backup: contents\.json cannot be read"):
        call_command("restore", str(folder))


@pytest.mark.django_db
def test_a_backup_of_a_newer_release_is_refused(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    told = {"format": 1, "at": "", "server": "18.6", "timescaledb": None, "tables": {},
            "migrations": [["fleet", "0001_initial"], ["fleet", "9999_of_tomorrow"]]}  # fmt: skip
    (folder / "contents.json").write_text(json.dumps(told))
    monkeypatch.setattr(inventory, "is_empty", lambda: True)
    with pytest.raises(CommandError, match=r"newer release, which has fleet\.9999_of_tomorrow"):
        call_command("restore", str(folder))


@pytest.mark.django_db(transaction=True)
def test_an_interrupted_backup_leaves_no_folder_that_looks_whole(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    broken = folder / "bin"
    broken.mkdir()
    (broken / "pg_dump").write_text(BROKEN)
    (broken / "pg_dump").chmod(0o755)
    monkeypatch.setenv("MILLRACE_PG_BIN", os.fspath(broken))
    monkeypatch.setenv("PATH", "/nowhere")
    with pytest.raises(CommandError, match="pg_dump failed: no space left"):
        call_command("backup", str(folder / "backup"))
    assert [path.name for path in folder.iterdir()] == ["bin"]


@pytest.mark.django_db
def test_the_client_nearest_to_the_server_is_taken_and_none_older(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    for place, version in (("old", "15.18"), ("new", "99.1")):
        (folder / place).mkdir()
        program = folder / place / "pg_dump"
        program.write_text(f"#!/bin/sh\necho 'pg_dump (PostgreSQL) {version}'\n")
        program.chmod(0o755)
    ours = copies._program("pg_dump")
    for place in ("old", "new"):
        monkeypatch.setenv("PATH", f"{folder / place}{os.pathsep}/usr/bin{os.pathsep}/bin")
        assert copies._program("pg_dump") == ours
    monkeypatch.setenv("PATH", f"{folder / 'old'}{os.pathsep}/usr/bin{os.pathsep}/bin")
    monkeypatch.setenv("MILLRACE_PG_BIN", os.fspath(folder / "old"))
    with pytest.raises(copies.CopyError, match=r"no pg_dump of PostgreSQL \d+ or newer is on PATH"):
        copies._program("pg_dump")
