"""A worker application with a task that leaves a trace: ``celery -A tests.acceptance.bells``."""

from __future__ import annotations

import os
import time
from pathlib import Path

import django

from fleet.celery import app

django.setup()


@app.task(name="tests.leave_trace")
def leave_trace(path: str) -> None:
    """Write the worker's process id, once the file is there the task has run."""
    draft = Path(f"{path}.{os.getpid()}")
    draft.write_text(str(os.getpid()))
    draft.rename(path)


@app.task(name="tests.dawdle")
def dawdle(path: str) -> None:
    """Say that it has begun, then take long."""
    leave_trace(path)
    time.sleep(50)
