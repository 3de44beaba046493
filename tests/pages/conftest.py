"""The scene every web test looks at."""

from __future__ import annotations

import pytest

from tests.pages import scene


@pytest.fixture
def fleet(db: None) -> scene.Scene:
    return scene.build()
