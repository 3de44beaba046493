"""Two organisations to look at."""

from __future__ import annotations

import pytest
from pytest_django import Settings

from tests.pages import scene
from tests.people import world as worlds


@pytest.fixture
def world(db: None, settings: Settings, monkeypatch: pytest.MonkeyPatch) -> worlds.World:
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
    # Readiness asks the broker, which these tests do not start.
    monkeypatch.setattr("fleet.api.probes.broker", lambda: "ok")
    return worlds.build()


@pytest.fixture
def fleet(db: None, settings: Settings) -> scene.Scene:
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
    return scene.build()
