"""The start-up checks name what is wrong and what to do."""

from __future__ import annotations

from pathlib import Path

import pytest
from django.core.management import call_command
from django.core.management.base import SystemCheckError
from django.db import connection
from django.test.utils import CaptureQueriesContext
from pytest_django import Settings

from fleet import checks
from fleet.celery import app
from fleet.embedded import broker_url


def test_nothing_is_wrong_with_the_private_stack(
    transactional_db: None, settings: Settings
) -> None:
    settings.SILENCED_SYSTEM_CHECKS = ["millrace.W003"]  # the system's libraries are no part of it
    call_command("check", databases=["default"], fail_level="WARNING")


def test_a_server_that_may_lose_commits_is_refused(db: None) -> None:
    with connection.cursor() as cursor:
        cursor.execute("SET LOCAL synchronous_commit = off")
    with pytest.raises(SystemCheckError) as refused:
        call_command("check", databases=["default"])
    said = str(refused.value)
    assert "(millrace.E003) the database server runs with synchronous_commit = off" in said
    assert "Set synchronous_commit = on in the server's postgresql.conf" in said


def test_every_dangerous_setting_is_asked_for(db: None) -> None:
    with CaptureQueriesContext(connection) as asked:
        assert checks.database_keeps_what_it_committed(databases=["default"]) == []
    for setting in ("fsync", "synchronous_commit", "full_page_writes"):
        assert setting in asked.captured_queries[0]["sql"]
    assert [message.id for message in checks._unsafe("fsync", "off", "millrace.E002")] == [
        "millrace.E002"
    ]


def test_a_broker_out_of_reach_is_a_warning(db: None, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("REDIS_URL", "redis://127.0.0.1:1/0")
    (found,) = checks.broker_answers(databases=["default"])
    assert found.id == "millrace.W001"
    assert "the broker does not answer" in found.msg
    assert "Uploads are kept and analysed later" in str(found.hint)
    assert found.level < 40


def test_the_broker_is_asked_at_the_private_address(db: None) -> None:
    assert app.connection_for_write().as_uri() in broker_url()


def test_a_data_folder_that_cannot_be_written_is_an_error(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    in_the_way = tmp_path / "file"
    in_the_way.touch()
    monkeypatch.setenv("MILLRACE_DATA", str(in_the_way))
    monkeypatch.delenv("DATABASE_URL", raising=False)
    (found,) = checks.data_folder_is_writable()
    assert found.id == "millrace.E001"
    assert f"the data folder {in_the_way} cannot be written" in found.msg
    assert "Set MILLRACE_DATA" in str(found.hint)


def test_the_data_folder_does_not_matter_when_all_is_given(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setenv("MILLRACE_DATA", "/dev/null")
    for name in ("DATABASE_URL", "REDIS_URL", "SECRET_KEY"):
        monkeypatch.setenv(name, "given")
    assert checks.data_folder_is_writable() == []
