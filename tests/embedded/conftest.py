"""Folders to start a private stack in."""

from __future__ import annotations

import shutil
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.embedded.harness import Stack, new_folder, new_stack


@pytest.fixture
def empty_stack() -> Iterator[Stack]:
    """A folder in which nothing was ever started."""
    with new_stack() as stack:
        yield stack


@pytest.fixture(scope="session")
def made_cluster() -> Iterator[Path]:
    """A folder whose cluster was made and shut down cleanly, to copy from."""
    stack = Stack(new_folder() / "data")
    user = stack.use()
    assert user.refusal == ""
    stack.sql("CREATE TABLE kept (word text)")
    stack.sql("INSERT INTO kept VALUES ('first')")
    user.leave()
    assert stack.is_down()
    try:
        yield stack.home
        stack.close()
    finally:
        shutil.rmtree(stack.home.parent)


@pytest.fixture
def stack(made_cluster: Path) -> Iterator[Stack]:
    """A folder with a ready cluster, nothing running."""
    parent = new_folder()
    subprocess.run(["cp", "-a", str(made_cluster), str(parent)], check=True)
    stack = Stack(parent / made_cluster.name)
    try:
        yield stack
        stack.close()
    finally:
        shutil.rmtree(parent)
