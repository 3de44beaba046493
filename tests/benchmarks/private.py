"""An empty private database for one benchmark, gone when the process ends."""

from __future__ import annotations

import atexit
import os
import shutil

import django
from django.core.management import call_command

from fleet import embedded
from tests.embedded.harness import new_folder


def prepare() -> None:
    """Start it and make the tables; to be called before anything imports models."""
    folder = new_folder()
    for name in ("DATABASE_URL", "REDIS_URL"):
        os.environ.pop(name, None)
    os.environ["MILLRACE_DATA"] = str(folder / "data")
    os.environ["DJANGO_SETTINGS_MODULE"] = "fleet.settings"
    root = embedded.locate().root

    def remove() -> None:
        embedded.release()
        for path in (root, folder):
            shutil.rmtree(path, ignore_errors=True)

    atexit.register(remove)
    django.setup()
    call_command("migrate", verbosity=0, interactive=False)
