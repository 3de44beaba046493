"""Starts a Chromium: the system's, else playwright's own."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

from playwright.sync_api import Browser, Error, Playwright

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


def launch(playwright: Playwright) -> Browser:
    """A running browser; playwright's own is fetched where the machine has none."""
    arguments = list(ARGUMENTS)
    if path := _installed():
        return playwright.chromium.launch(executable_path=path, args=arguments)
    try:
        return playwright.chromium.launch(args=arguments)
    except Error:
        command = [sys.executable, "-m", "playwright", "install", "chromium"]
        subprocess.run(command, check=True, capture_output=True, timeout=240)
        return playwright.chromium.launch(args=arguments)
