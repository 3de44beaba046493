#!/usr/bin/env python
"""Entry of every command: ``python manage.py <command>``."""

from __future__ import annotations

import gc
import os
import sys

from django.core.management import BaseCommand, ManagementUtility

from fleet.embedded.errors import EmbeddedError


class Commands(ManagementUtility):
    """Finds a command and everything it stands on, without a look for garbage on the way."""

    def fetch_command(self, subcommand: str) -> BaseCommand:
        """Load a command.

        Loading makes objects by the hundred thousand, and none of them is garbage: looking for
        some takes a fifth of the time a short command needs. What is loaded stays for good.
        """
        command = super().fetch_command(subcommand)
        gc.freeze()
        gc.enable()
        return command


def main() -> None:
    """Run one management command.

    Nothing is started here. The private database starts when a command opens its first
    connection (``fleet.embedded.backend``), so ``--help`` and ``check`` stay instant.
    """
    gc.disable()  # until the command is loaded
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "fleet.settings")
    try:
        Commands(sys.argv).execute()
    except EmbeddedError as error:
        sys.exit(f"Error: {error}")


if __name__ == "__main__":
    main()
