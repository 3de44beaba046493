"""A browser: the system's Chromium, else playwright's own."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from django.core.management import call_command
from playwright.sync_api import Browser, Error, Playwright, sync_playwright

from fleet.models import Event, Role
from tests.pages import scene

SAMPLE = Path(__file__).parents[2] / "fixtures" / "samples" / "quay-store"
PASSWORD = "open sesame 42"
SYSTEM_CHROMIUM = Path("/usr/bin/chromium")
ARGUMENTS = (
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
)


def _installed() -> str | None:
    """Path of a Chromium on this machine; MILLRACE_CHROMIUM has the last word."""
    if chosen := os.environ.get("MILLRACE_CHROMIUM"):
        return chosen
    if SYSTEM_CHROMIUM.exists():
        return str(SYSTEM_CHROMIUM)
    return shutil.which("chromium")


def _launch(playwright: Playwright) -> Browser:
    arguments = list(ARGUMENTS)
    if path := _installed():
        return playwright.chromium.launch(executable_path=path, args=arguments)
    try:
        return playwright.chromium.launch(args=arguments)
    except Error:
        command = [sys.executable, "-m", "playwright", "install", "chromium"]
        subprocess.run(command, check=True, capture_output=True, timeout=240)
        return playwright.chromium.launch(args=arguments)


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    # playwright runs an event loop in this thread; Django must not take it for an async view.
    before = os.environ.get("DJANGO_ALLOW_ASYNC_UNSAFE")
    os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"] = "true"
    with sync_playwright() as playwright:
        try:
            started = _launch(playwright)
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
