"""What the settings promise: nothing starts unasked, secrets are kept, answers are strict."""

from __future__ import annotations

import json
import os
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest
from django.db import connection
from django.test import Client

from fleet.embedded.secret import secret_key
from tests.embedded.harness import Stack


@pytest.mark.parametrize("arguments", [["--help"], ["check"], ["up", "--help"]])
def test_a_command_that_needs_no_database_starts_none(
    empty_stack: Stack, arguments: list[str]
) -> None:
    done = empty_stack.manage(*arguments)
    assert done.returncode == 0, done.stderr
    assert not (empty_stack.home / "embedded").exists()


def test_a_command_that_needs_the_database_gets_it_and_leaves_nothing_running(
    stack: Stack,
) -> None:
    done = stack.manage("showmigrations", "--plan")
    assert done.returncode == 0, done.stderr
    assert "[ ]  auth.0001_initial" in done.stdout
    assert stack.is_down()


def test_dbshell_reaches_the_private_database(stack: Stack) -> None:
    done = stack.manage("dbshell", "--", "-Atc", "SELECT word FROM kept")
    assert done.stdout == "first\n", done.stderr


def test_a_given_database_is_used_instead(empty_stack: Stack) -> None:
    done = empty_stack.manage(
        "showmigrations",
        DATABASE_URL="postgres://nobody@127.0.0.1:1/none",
        REDIS_URL="redis://127.0.0.1:1/0",
    )
    assert done.returncode == 1
    assert "127.0.0.1" in done.stderr
    assert "port 1 failed: Connection refused" in done.stderr
    assert not (empty_stack.home / "embedded").exists()


def test_a_refusal_reaches_the_user_as_one_message(stack: Stack) -> None:
    (stack.place.cluster / "PG_VERSION").write_text("15\n")
    done = stack.manage("showmigrations")
    assert done.returncode == 1
    assert "Traceback" not in done.stderr
    assert "was made by PostgreSQL 15, the program here is 18" in done.stderr


def test_the_secret_key_is_made_once_and_closed_to_others(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("MILLRACE_DATA", str(tmp_path / "data"))
    with ThreadPoolExecutor(8) as pool:
        keys = set(pool.map(lambda _: secret_key(), range(32)))
    assert len(keys) == 1
    assert len(keys.pop()) >= 50
    kept = tmp_path / "data" / "secret_key"
    assert kept.stat().st_mode & 0o777 == 0o600
    assert [path.name for path in kept.parent.iterdir()] == ["secret_key"]


@pytest.mark.django_db
def test_every_answer_carries_the_strict_policy() -> None:
    answer = Client().get("/no-such-page/")
    policy = dict(
        part.strip().partition(" ")[::2]
        for part in answer.headers["Content-Security-Policy"].split(";")
    )
    assert policy == {
        "default-src": "'none'",
        "script-src": "'self'",
        "style-src": "'self'",
        "img-src": "'self' data: blob:",
        "font-src": "'self'",
        "connect-src": "'self'",
        "form-action": "'self'",
        "frame-ancestors": "'none'",
        "base-uri": "'none'",
        "object-src": "'none'",
    }
    assert answer.headers["X-Content-Type-Options"] == "nosniff"
    assert answer.headers["X-Frame-Options"] == "DENY"
    assert answer.headers["Referrer-Policy"] == "same-origin"


def test_behind_tls_the_deployment_check_is_clean(empty_stack: Stack) -> None:
    done = empty_stack.manage("check", "--deploy", "--fail-level", "WARNING", MILLRACE_HTTPS="1")
    assert done.returncode == 0, done.stderr


def test_behind_tls_cookies_are_bound_to_the_host(empty_stack: Stack) -> None:
    show = (
        "import json; from django.conf import settings as s;"
        "print(json.dumps([s.SESSION_COOKIE_NAME, s.CSRF_COOKIE_NAME, s.SESSION_COOKIE_SECURE,"
        "s.SECURE_HSTS_SECONDS]))"
    )
    done = empty_stack.manage("shell", "--no-imports", "-c", show, MILLRACE_HTTPS="1")
    told = json.loads(done.stdout)
    assert told == ["__Host-session", "__Host-csrf", True, 31_536_000]


@pytest.mark.django_db(transaction=True)
def test_a_connection_comes_back_after_the_server_was_killed() -> None:
    with connection.cursor() as cursor:
        cursor.execute("SELECT pg_backend_pid()")
        (killed,) = cursor.fetchone()
        cursor.execute("SELECT setting FROM pg_settings WHERE name = 'data_directory'")
        pid_file = Path(cursor.fetchone()[0]) / "postmaster.pid"
    if connection.settings_dict["ENGINE"] != "fleet.embedded.backend":
        pytest.skip("the database is not ours to kill")
    os.kill(int(pid_file.read_text().split()[0]), 9)
    connection.close()
    with connection.cursor() as cursor:
        cursor.execute("SELECT pg_backend_pid()")
        assert cursor.fetchone()[0] != killed
