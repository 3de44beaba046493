"""A private stack for the tests that kill its processes."""

from __future__ import annotations

import shutil
from collections.abc import Iterator

import pytest

from tests.embedded.harness import Stack, new_folder


@pytest.fixture
def stack() -> Iterator[Stack]:
    """A folder in which nothing was ever started."""
    parent = new_folder()
    stack = Stack(parent / "data")
    try:
        yield stack
        stack.close()
    finally:
        shutil.rmtree(parent)
