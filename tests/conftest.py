"""A private database for the run, unless the developer gives one in DATABASE_URL."""

from __future__ import annotations

import os
import shutil
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

# As ``fleet`` does, which may be imported after NumPy here.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

# Inherited by the processes tests start and by parallel workers, so all share one server.
_OWN_FOLDER = None
if "MILLRACE_DATA" not in os.environ:
    _OWN_FOLDER = Path(tempfile.mkdtemp(prefix="millrace-tests-"))
    _OWN_FOLDER.chmod(0o711)  # as root, the server's account has to pass through
    os.environ["MILLRACE_DATA"] = str(_OWN_FOLDER)


@pytest.fixture(scope="session")
def demo_made() -> Iterator[Any]:
    """The demo fleet, loaded once a run (demo_fleet.Made). Who changes it takes a copy."""
    from tests import demo_fleet

    with demo_fleet.made() as made:
        yield made


def pytest_unconfigure(config: pytest.Config) -> None:
    """Stop the servers, then remove their folder."""
    from fleet import embedded

    place = embedded.locate()
    embedded.release()
    if _OWN_FOLDER is not None:
        for folder in (place.root, _OWN_FOLDER):
            shutil.rmtree(folder, ignore_errors=True)
