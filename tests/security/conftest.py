"""The worlds of the pages' and the API's tests."""

from __future__ import annotations

from tests.api.conftest import gateway, rung
from tests.people.conftest import fleet, world

__all__ = ["fleet", "gateway", "rung", "world"]
