"""Which days are to be analysed after samples changed."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date, timedelta

from fleet.models import DueDay
from fleet.timeseries import store


def mark_due(system_id: int, changed: Iterable[date]) -> None:
    """Make UTC days due whose samples changed, and the days after them.

    A day is analysed with the last hours before it as warm-up, so a change reaches the next day
    too, if that holds samples.
    """
    days = set(changed)
    following = {day + timedelta(days=1) for day in days} - days
    if days:
        DueDay.objects.mark(system_id, days | store.days(system_id, among=following))


def mark_all_due(system_id: int) -> None:
    """Make every day due that holds samples: what all days depend on has changed."""
    if days := store.days(system_id):
        DueDay.objects.mark(system_id, days)
