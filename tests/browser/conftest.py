"""A browser, and a loaded sample site to walk through."""

from __future__ import annotations

import os
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest
from django.core.management import call_command
from playwright.sync_api import Browser, Error, sync_playwright

from fleet.models import Event, Role
from tests.browser.chromium import launch
from tests.pages import scene

SAMPLE = Path(__file__).parents[2] / "fixtures" / "samples" / "quay-store"


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    # playwright runs an event loop in this thread; Django must not take it for an async view.
    before = os.environ.get("DJANGO_ALLOW_ASYNC_UNSAFE")
    os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"] = "true"
    with sync_playwright() as playwright:
        try:
            started = launch(playwright)
        except (Error, subprocess.SubprocessError) as fault:
            reason = f"no Chromium could be started: {fault}. Set MILLRACE_CHROMIUM to one."
            if os.environ.get("CI") == "true":
                pytest.fail(reason)
            pytest.skip(reason)
        yield started
        started.close()
    if before is None:
        del os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"]
    else:
        os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"] = before


@pytest.fixture
def event(transactional_db: None) -> Event:
    """The sample building loaded as an installation loads it, and its event."""
    call_command("load_site", str(SAMPLE), "--wait")
    scene.person("mara", Role.MANAGER)
    scene.person("tess", Role.TECHNICIAN)
    found = Event.objects.filter(closed_at=None).first()
    assert found is not None, "the sample building opened no event"
    return found
