#!/usr/bin/env python
"""Entry of every command: ``python manage.py <command>``."""

from __future__ import annotations

import os
import sys

from django.core.management import execute_from_command_line

from fleet.embedded.errors import EmbeddedError


def main() -> None:
    """Run one management command.

    Nothing is started here. The private database starts when a command opens its first
    connection (``fleet.embedded.backend``), so ``--help`` and ``check`` stay instant.
    """
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "fleet.settings")
    try:
        execute_from_command_line(sys.argv)
    except EmbeddedError as error:
        sys.exit(f"Error: {error}")


if __name__ == "__main__":
    main()
