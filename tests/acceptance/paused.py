"""A worker that can be held at a chosen place: ``celery -A tests.acceptance.paused``.

With HOLD_IN naming a folder, taking in ``claimed.csv`` waits while it holds the upload's row, and
``unclaimed.csv`` before it does, until a file ``go`` is there. Messages are handed out again after
3 s, so that a paused worker is overtaken within the patience of a test.
"""

from __future__ import annotations

import os
import time
from pathlib import Path
from typing import Any
from uuid import UUID

import django

from fleet.celery import app

django.setup()

from fleet.ingest import take_in as ingest  # noqa: E402  needs the line above
from fleet.models import Upload  # noqa: E402

VISIBILITY_TIMEOUT_S = 3
TRACES = Path(os.environ["TRACES"])
HOLD = bool(os.environ.get("HOLD"))

app.conf.broker_transport_options = {
    **app.conf.broker_transport_options,
    "visibility_timeout": VISIBILITY_TIMEOUT_S,
}
app.conf.visibility_timeout = VISIBILITY_TIMEOUT_S

_take_in, _attempt, _begin = ingest.take_in, ingest._attempt, ingest.begin
_name = ""


def _hold(name: str) -> None:
    if HOLD and _name == name:
        (TRACES / f"held-{name}").touch()
        while not (TRACES / "go").exists():
            time.sleep(0.05)


def take_in(upload_id: UUID) -> Upload:
    """Leave a trace of every message."""
    global _name
    _name = Upload.objects.values_list("name", flat=True).get(pk=upload_id)
    who = "held" if HOLD else "free"
    upload = _take_in(upload_id)
    (TRACES / f"{who}-did-{_name}").touch()
    return upload


def attempt(upload_id: UUID) -> None:
    """Hold before the row is claimed."""
    _hold("unclaimed.csv")
    _attempt(upload_id)


def begin(*arguments: Any) -> Any:
    """Hold while the row is claimed."""
    _hold("claimed.csv")
    return _begin(*arguments)


ingest.take_in, ingest._attempt, ingest.begin = take_in, attempt, begin
