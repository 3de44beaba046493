#!/usr/bin/env python
"""Entry of every command: ``python manage.py <command>``."""

from __future__ import annotations

import gc
import os
import sys

from django.core.management import execute_from_command_line

from fleet.embedded.errors import EmbeddedError

OBJECTS_BETWEEN_COLLECTIONS = 50_000


def main() -> None:
    """Run one management command.

    Nothing is started here. The private database starts when a command opens its first
    connection (``fleet.embedded.backend``), so ``--help`` and ``check`` stay instant.
    """
    # Loading makes objects by the hundred thousand, and none of them is garbage: looking for some
    # after every seven hundred takes a tenth of the time a short command needs.
    gc.set_threshold(OBJECTS_BETWEEN_COLLECTIONS)
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "fleet.settings")
    try:
        execute_from_command_line(sys.argv)
    except EmbeddedError as error:
        sys.exit(f"Error: {error}")


if __name__ == "__main__":
    main()
