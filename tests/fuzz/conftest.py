"""The worlds of the API's and the pages' tests."""

from __future__ import annotations

from tests.api.conftest import gateway, rung
from tests.people.conftest import world

__all__ = ["gateway", "rung", "world"]
