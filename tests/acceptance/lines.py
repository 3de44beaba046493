"""The command lines of docker-compose.yml, run as they stand, on this machine without containers.

Arguments, the image's entrypoint and each service's environment are read from the two files. What
differs is what a container would give: addresses and folders, by the variables the scripts and
settings read. The database's image makes its cluster by itself; here initdb does.
"""

from __future__ import annotations

import json
import os
import re
import shutil
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import yaml

from fleet.embedded.binaries import broker_program, postgres_folder
from fleet.embedded.place import Account, locate
from tests.embedded.harness import REPOSITORY, free_port

SERVICES: dict[str, dict[str, Any]] = yaml.safe_load(
    (REPOSITORY / "docker-compose.yml").read_text(encoding="utf-8")
)["services"]
ENTRYPOINT: list[str] = json.loads(
    re.findall(
        r"^ENTRYPOINT (\[.*\])$", (REPOSITORY / "fleet/deploy/Dockerfile").read_text(), re.M
    )[0]
)
GIVEN = {"MILLRACE_DOMAIN": "fleet.example.org"}
SECRETS = ("db_password", "broker_password", "secret_key")


@dataclass(frozen=True)
class Here:
    """Where the services find each other on this machine."""

    folder: Path
    db_port: int
    broker_port: int
    web_port: int

    @classmethod
    def laid_out(cls, folder: Path) -> Here:
        """Secrets and folders as `docker-compose.yml` tells to make them, and free ports."""
        for name in ("secrets", "broker", "backups", "data"):
            (folder / name).mkdir()
        for name in SECRETS:
            (folder / "secrets" / name).write_text(os.urandom(32).hex())
        return cls(folder, *(free_port() for _ in range(3)))

    def environment(self, service: str) -> dict[str, str]:
        """What the container would have, and where things are here."""
        told = {
            key: re.sub(r"\$\{(\w+)(?::?[-?]([^}]*))?\}", _filled, str(value))
            for key, value in SERVICES[service].get("environment", {}).items()
        }
        return told | {
            "PATH": os.pathsep.join(
                [str(Path(sys.executable).parent), str(_postgres()), os.environ["PATH"]]
            ),
            "HOME": str(self.folder),
            "MILLRACE_DATA": str(self.folder / "data"),
            "MILLRACE_SECRETS": str(self.folder / "secrets"),
            "DB_ADDRESS": f"127.0.0.1:{self.db_port}",
            "BROKER_ADDRESS": f"127.0.0.1:{self.broker_port}",
            "WEB_BIND": f"127.0.0.1:{self.web_port}",
            "BROKER": str(_broker()),
            "BROKER_PORT": str(self.broker_port),
            "BROKER_DATA": str(self.folder / "broker"),
            "BACKUPS": str(self.folder / "backups"),
            "PYTHONWARNINGS": "ignore::UserWarning",  # Celery's, of the superuser
        }

    def argv(self, service: str) -> list[str]:
        """The service's whole command line."""
        chosen = SERVICES[service]
        entry = chosen.get("entrypoint", ENTRYPOINT if chosen["image"].startswith("mill") else [])
        return [self._here(word) for word in [*entry, *chosen.get("command", [])]]

    def healthcheck(self, service: str) -> list[str]:
        """The command by which the container's health is asked."""
        kind, *words = SERVICES[service]["healthcheck"]["test"]
        words = [self._here(word.replace("$$", "$")) for word in words]
        return ["sh", "-c", *words] if kind == "CMD-SHELL" else words

    def _here(self, word: str) -> str:
        for there, here in (
            ("/app/", f"{REPOSITORY}/"),
            ("/millrace/broker.sh", f"{REPOSITORY}/fleet/deploy/broker.sh"),
            ("/run/secrets/", f"{self.folder}/secrets/"),
            ("find /backups", f"find {self.folder}/backups"),
            ("-h 127.0.0.1", f"-h 127.0.0.1 -p {self.db_port}"),
            ("redis-cli", f"redis-cli -p {self.broker_port}"),
        ):
            word = word.replace(there, here)
        return word

    def run(self, service: str, argv: list[str] | None = None) -> subprocess.CompletedProcess[str]:
        """Run a command line to its end, that of the service unless given."""
        return subprocess.run(
            argv or self.argv(service), cwd=REPOSITORY, env=self.environment(service), text=True,
            capture_output=True, timeout=90, check=False,
        )  # fmt: skip

    @contextmanager
    def running(self, service: str) -> Iterator[subprocess.Popen[bytes]]:
        """Run a service; afterwards its process has ended, by itself within its time of grace."""
        argv, account = self.argv(service), None
        if service == "db":
            argv, account = self._cluster(argv)
        log = (self.folder / f"{service}.log").open("wb")
        process = subprocess.Popen(
            argv, cwd=REPOSITORY, env=self.environment(service), stdout=log, stderr=log,
            start_new_session=True, **_as(account),
        )  # fmt: skip
        grace_s = float(SERVICES[service].get("stop_grace_period", "10s").removesuffix("s"))
        try:
            yield process
            process.terminate()
            process.wait(grace_s)
        finally:
            process.kill()
            process.wait()
            log.close()

    def log(self, service: str) -> str:
        """What it has said."""
        return (self.folder / f"{service}.log").read_text(errors="replace")

    def _cluster(self, argv: list[str]) -> tuple[list[str], Account | None]:
        """Make the database's cluster as its image would; the command with the paths of here."""
        place = locate(self.folder / "data")
        binaries, cluster = _postgres(), self.folder / "cluster"
        cluster.mkdir(mode=0o700)
        password = self.folder / "secrets" / "db_password"
        if place.account:
            os.chown(cluster, place.account.uid, place.account.gid)
        made = subprocess.run(
            [binaries / "initdb", "-D", cluster, "--username=millrace", "--auth=scram-sha-256",
             f"--pwfile={password}", "--encoding=UTF8", "--locale=C"],
            capture_output=True, text=True, check=False, **_as(place.account),
        )  # fmt: skip
        assert made.returncode == 0, made.stderr
        where = ["-D", str(cluster), "-p", str(self.db_port), "-k", str(cluster)]
        return [str(binaries / argv[0]), *argv[1:], *where], place.account


def _filled(match: re.Match[str]) -> str:
    return GIVEN.get(match[1]) or match[2] or ""


def _as(account: Account | None) -> dict[str, Any]:
    if account is None:
        return {}
    return {"user": account.uid, "group": account.gid, "extra_groups": []}


def _postgres() -> Path:
    return postgres_folder(locate())


def _broker() -> Path:
    found = shutil.which("redis-server")
    return Path(found) if found else broker_program(locate())
