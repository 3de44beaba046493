"""Commands run in this process: what they print, and how they refuse."""

from __future__ import annotations

from io import StringIO

import pytest
from django.core.management import call_command
from django.core.management.base import CommandError


def run(*arguments: object) -> str:
    """A command's standard output."""
    out = StringIO()
    call_command(*(str(it) for it in arguments), stdout=out)
    return out.getvalue()


def refusal(*arguments: object) -> tuple[int, str]:
    """Exit status and message of a command that must refuse."""
    with pytest.raises(CommandError) as caught:
        run(*arguments)
    return caught.value.returncode, str(caught.value)
