"""A private stack for the tests that kill its processes."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from tests.embedded.harness import Stack, new_stack


@pytest.fixture
def stack() -> Iterator[Stack]:
    """A folder in which nothing was ever started."""
    with new_stack() as stack:
        yield stack
