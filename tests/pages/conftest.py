"""The scene every web test looks at."""

from __future__ import annotations

import pytest
from pytest_django import Settings

from tests.pages import scene


@pytest.fixture
def fleet(db: None, settings: Settings) -> scene.Scene:
    # Four people a test: a slow hash would be most of the run.
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
    return scene.build()
