"""What can go wrong with the private servers."""

from __future__ import annotations


class EmbeddedError(RuntimeError):
    """The private database or broker cannot be used; the message says why and what to do."""
