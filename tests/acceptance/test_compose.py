"""The stack in containers: hardened, pinned, with secrets from files; its scripts do what they say.

No engine runs here. That the file is valid is checked by hand with a compose implementation.
"""

from __future__ import annotations

import re
import subprocess
from pathlib import Path
from typing import Any

import pytest
import yaml

from tests.embedded.harness import REPOSITORY

DEPLOY = REPOSITORY / "fleet" / "deploy"
STACK: dict[str, Any] = yaml.safe_load((REPOSITORY / "docker-compose.yml").read_text())
SERVICES: dict[str, dict[str, Any]] = STACK["services"]
ONE_SHOT = {"migrate"}
SECRETS = ("secret_key", "db_password", "broker_password")


@pytest.mark.parametrize("name", SERVICES)
def test_every_container_is_hardened_and_limited(name: str) -> None:
    service = SERVICES[name]
    assert service["read_only"] is True
    assert service["cap_drop"] == ["ALL"]
    assert service["security_opt"] == ["no-new-privileges:true"]
    assert re.fullmatch(r"[1-9]\d*:[1-9]\d*", service["user"]), "not root"
    assert set(service["deploy"]["resources"]["limits"]) == {"cpus", "memory"}
    assert ("healthcheck" in service) == (name not in ONE_SHOT)
    assert "privileged" not in service


@pytest.mark.parametrize("name", SERVICES)
def test_every_image_has_a_version_and_room_for_a_digest(name: str) -> None:
    image = SERVICES[name]["image"]
    if image.startswith("millrace:"):
        assert "${PYTHON_DIGEST" in str(SERVICES[name]["build"])
        return
    assert re.fullmatch(r"[\w./-]+:\d+\.\d+\.\d+[\w.-]*\$\{\w+_DIGEST:-\}", image), image


@pytest.mark.parametrize("name", SERVICES)
def test_no_secret_is_in_an_environment_or_an_argument(name: str) -> None:
    service = SERVICES[name]
    told = str(service.get("environment", {})) + str(service.get("command", ""))
    for variable in re.findall(r"\$\{(\w+)", told):
        assert not re.search(r"PASSWORD|SECRET|KEY|TOKEN", variable), variable


def test_only_the_proxy_is_reached_from_outside() -> None:
    assert [name for name, service in SERVICES.items() if "ports" in service] == ["proxy"]
    assert STACK["networks"]["inside"]["internal"] is True
    outside = [name for name, service in SERVICES.items() if "outside" in service["networks"]]
    assert sorted(outside) == ["proxy", "web"]
    assert "inside" not in SERVICES["proxy"]["networks"]


def test_files_that_services_name_are_there() -> None:
    named = re.findall(r"fleet/deploy/[\w.]+", (REPOSITORY / "docker-compose.yml").read_text())
    named += re.findall(r"fleet/deploy/[\w.]+", (DEPLOY / "Dockerfile").read_text())
    assert len(set(named)) >= 6
    for path in named:
        assert (REPOSITORY / path).is_file(), path


def _entered(folder: Path, *command: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        ["sh", str(DEPLOY / "entrypoint.sh"), *command],
        env={"MILLRACE_SECRETS": str(folder), "PATH": "/usr/bin:/bin"},
        capture_output=True, text=True, check=False,
    )  # fmt: skip


def test_secrets_become_the_settings_environment(tmp_path: Path) -> None:
    for name in SECRETS:
        (tmp_path / name).write_text(f"{name.replace('_', '')}1\n")
    done = _entered(tmp_path, "sh", "-c", "echo $SECRET_KEY $DATABASE_URL $REDIS_URL")
    assert done.stdout.split() == [
        "secretkey1",
        "postgres://millrace:dbpassword1@db:5432/millrace",
        "redis://:brokerpassword1@broker:6379/0",
    ]


def test_the_password_for_mail_may_be_any_or_none(tmp_path: Path) -> None:
    for name in SECRETS:
        (tmp_path / name).write_text("x1")
    show = ("sh", "-c", 'echo "[${MILLRACE_MAIL_PASSWORD-none}]"')
    (tmp_path / "mail_password").touch()
    assert _entered(tmp_path, *show).stdout == "[none]\n"
    (tmp_path / "mail_password").write_text("p@ss w/ord: 'x'\n")
    assert _entered(tmp_path, *show).stdout == "[p@ss w/ord: 'x']\n"


def test_only_workers_run_errands() -> None:
    errands = [name for name, it in SERVICES.items() if "errands" in it["networks"]]
    assert errands == ["worker"]


def test_a_missing_or_unusable_secret_stops_the_start(tmp_path: Path) -> None:
    (tmp_path / "secret_key").write_text("fine")
    missing = _entered(tmp_path, "echo", "started")
    assert (missing.returncode, missing.stdout) == (1, "")
    assert "db_password cannot be read" in missing.stderr
    for bad in ("with/slash", "two\nlines", ""):
        (tmp_path / "db_password").write_text(bad)
        unusable = _entered(tmp_path, "echo", "started")
        assert (unusable.returncode, unusable.stdout) == (1, "")
        assert "db_password must be letters and digits" in unusable.stderr


def test_the_broker_gets_its_password_without_an_argument(tmp_path: Path) -> None:
    (tmp_path / "broker_password").write_text("hush1")
    server = tmp_path / "server"
    server.write_text('#!/bin/sh\necho "arguments: $*"\ncat\n')
    server.chmod(0o755)
    said = subprocess.run(
        ["sh", str(DEPLOY / "broker.sh")], capture_output=True, text=True, check=True,
        env={"MILLRACE_SECRETS": str(tmp_path), "BROKER": str(server), "PATH": "/usr/bin:/bin"},
    ).stdout.splitlines()  # fmt: skip
    assert said[0] == "arguments: -"
    assert "requirepass hush1" in said
    assert "appendonly yes" in said
    assert "maxmemory-policy noeviction" in said


def test_backups_are_kept_up_to_a_number(tmp_path: Path) -> None:
    backups, programs = tmp_path / "backups", tmp_path / "bin"
    for day in range(1, 5):
        (backups / f"2026010{day}T000000Z").mkdir(parents=True)
    (backups / "20260105T000000Z.partial").mkdir()
    (backups / "somebody's own").mkdir()
    programs.mkdir()
    for name, script in (("python", 'mkdir "$3"'), ("sleep", "exec /bin/kill $PPID")):
        (programs / name).write_text(f"#!/bin/sh\n{script}\n")
        (programs / name).chmod(0o755)
    subprocess.run(
        ["sh", str(DEPLOY / "backups.sh")], check=False, timeout=20,
        env={"BACKUPS": str(backups), "BACKUPS_KEPT": "3", "PATH": f"{programs}:/usr/bin:/bin"},
    )  # fmt: skip
    left = sorted(path.name for path in backups.iterdir())
    assert left[:2] == ["20260103T000000Z", "20260104T000000Z"]
    assert len(left) == 4
    assert left[-1] == "somebody's own"
