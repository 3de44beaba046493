"""What a benchmark tells while it is at work."""

from __future__ import annotations

import sys


def say(line: str) -> None:
    """One line, at once."""
    sys.stdout.write(f"{line}\n")
    sys.stdout.flush()
