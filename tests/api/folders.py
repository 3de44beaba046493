"""A gateway's folder, and an uploader for it."""

from __future__ import annotations

import os
import ssl
import time
from pathlib import Path

from fleet.gateway.uploader import Target, Uploader
from tests.api.sender import CSV


def put(folder: Path, name: str, content: bytes = CSV, *, age_s: float = 60.0) -> Path:
    file = folder / name
    file.write_bytes(content)
    then = time.time() - age_s
    os.utime(file, (then, then))
    return file


def to(server: str, folder: Path, token: str = "millrace_token") -> Uploader:
    target = Target(server, "ferry-hall", token, ssl.create_default_context())
    return Uploader(target, folder)


def lying(folder: Path) -> list[str]:
    return sorted(str(file.relative_to(folder)) for file in folder.rglob("*") if file.is_file())
