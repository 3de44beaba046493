"""Every service of docker-compose.yml but the proxy, started by its own command line."""

from __future__ import annotations

import gzip
import http.client
import json
import shutil
from collections.abc import Iterator
from contextlib import ExitStack, closing

import psycopg
import pytest
import redis

from tests.acceptance.lines import SERVICES, Here
from tests.acceptance.pieces import cut_logs
from tests.acceptance.trial import REGISTER
from tests.embedded.harness import eventually, new_folder

LASTING = ("web", "worker", "scheduler", "backups")


@pytest.fixture
def here() -> Iterator[Here]:
    """A folder of secrets."""
    folder = new_folder()
    laid_out = Here.laid_out(folder)
    (folder / "secrets").chmod(0o711)
    yield laid_out
    shutil.rmtree(folder)


def _healthy(here: Here, service: str) -> bool:
    """The container's own check; the broker's needs a client that not every machine has."""
    if service == "broker" and not shutil.which("redis-cli"):
        return _pong(here)
    return here.run(service, here.healthcheck(service)).returncode == 0


def _pong(here: Here) -> bool:
    password = (here.folder / "secrets" / "broker_password").read_text()
    try:
        with redis.Redis(port=here.broker_port, password=password) as client:
            return bool(client.ping())
    except redis.RedisError:
        return False


def _post(here: Here, token: str, body: bytes) -> tuple[int, dict[str, str]]:
    """As the proxy hands it on."""
    connection = http.client.HTTPConnection("127.0.0.1", here.web_port, timeout=20)
    headers = {
        "Host": "fleet.example.org", "X-Forwarded-Proto": "https", "Content-Type": "text/csv",
        "Content-Encoding": "gzip", "Authorization": f"Bearer {token}",
    }  # fmt: skip
    path = "/api/v1/sites/ferry-hall/systems/R1/uploads"
    with closing(connection):
        connection.request("POST", path, gzip.compress(body), headers)
        answer = connection.getresponse()
        return answer.status, json.loads(answer.read())


def _states(here: Here) -> list[str]:
    password = (here.folder / "secrets" / "db_password").read_text()
    with psycopg.connect(
        host="127.0.0.1", port=here.db_port, user="millrace", password=password, dbname="millrace"
    ) as connection:
        return [state for (state,) in connection.execute("SELECT state FROM fleet_upload")]


def _make_database(here: Here) -> None:
    """POSTGRES_DB, which the image makes."""
    password = (here.folder / "secrets" / "db_password").read_text()
    with psycopg.connect(
        host="127.0.0.1", port=here.db_port, user="millrace", password=password, dbname="postgres",
        autocommit=True,
    ) as connection:  # fmt: skip
        connection.execute("CREATE DATABASE millrace")
        rows = connection.execute(
            "SELECT name, setting FROM pg_settings WHERE name IN "
            "('fsync', 'synchronous_commit', 'full_page_writes', 'max_connections')"
        )
        assert dict(rows.fetchall()) == {  # type: ignore[arg-type]
            "fsync": "on", "synchronous_commit": "on", "full_page_writes": "on",
            "max_connections": "200",
        }  # fmt: skip


@pytest.mark.timeout(240)
def test_the_stack_works_by_the_command_lines_as_they_stand(here: Here) -> None:
    assert set(SERVICES) == {"db", "broker", "migrate", "proxy", *LASTING}, "try new ones, too"
    logs = cut_logs(19, 3.0)
    piece = next(piece for piece in logs.pieces if piece.system == "R1")
    with ExitStack() as up:
        for name in ("db", "broker"):
            up.enter_context(here.running(name))
            assert eventually(lambda name=name: _healthy(here, name), 30.0), here.log(name)
        _make_database(here)
        migrated = here.run("migrate")
        assert migrated.returncode == 0, migrated.stderr
        processes = {name: up.enter_context(here.running(name)) for name in LASTING}
        for name in LASTING:
            assert eventually(lambda name=name: _healthy(here, name), 90.0), here.log(name)
        manifest = logs.manifest("ferry-hall")
        script = f"python manage.py shell --no-imports -c '{REGISTER}' <<'EOF'\n{manifest}\nEOF"
        registered = here.run("migrate", [*here.argv("migrate")[:2], "sh", "-c", script])
        token = registered.stdout.strip()
        assert token.startswith("millrace_"), registered.stderr
        assert _post(here, token, piece.body)[0] == 202
        assert eventually(lambda: _states(here) == ["analysed"], 60.0), here.log("worker")
        assert _post(here, token, piece.body)[0] == 200
        assert _post(here, "millrace_0", piece.body)[0] == 401
        assert all(process.poll() is None for process in processes.values())
    assert '"message"' in here.log("worker"), "logs for programs"
    for name in SERVICES.keys() - {"proxy", "migrate"}:
        assert not any(
            (here.folder / "secrets" / secret).read_text() in here.log(name)
            for secret in ("db_password", "broker_password", "secret_key")
        ), f"{name} logs a secret"
