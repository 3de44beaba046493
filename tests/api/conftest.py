"""The gateway every test of the API sends from."""

from __future__ import annotations

from pathlib import Path

import pytest
from pytest_django import Settings

from fleet import tasks
from fleet.api.doorbell import DOORBELL
from tests.api import sender


@pytest.fixture
def gateway(db: None, settings: Settings) -> sender.Sender:
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
    return sender.build()


@pytest.fixture(autouse=True)
def rung(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """What was rung for, instead of ringing: no worker runs, and the broker has its own tests."""
    heard: list[str] = []
    monkeypatch.setattr(tasks, "ring", lambda task, *ids: heard.append(*ids))
    monkeypatch.setattr(DOORBELL, "_silent_until", 0.0)
    return heard


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    for system in ("R1", "R2"):
        (tmp_path / system).mkdir()
    return tmp_path
