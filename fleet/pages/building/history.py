"""What a building's systems did day by day, from their stored windows."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any
from zoneinfo import ZoneInfo

from django.db.models.functions import TruncDate

from diagnostics.analyse import METHOD_VERSION
from fleet.models import System, Window
from fleet.pages.days.sums import feature, known

SUMMED = ("logged_s", "running_s", "judged_s")
AVERAGED = {
    "to_indoor_k": ("subcooling_to_indoor_k", "to_indoor_s"),
    "to_outdoor_k": ("subcooling_to_outdoor_k", "to_outdoor_s"),
}
LEAST_S = 900.0
"""A day's mean rests on at least a quarter of an hour."""


@dataclass(frozen=True)
class Day:
    """One local day of one system: hours, and subcooling at the point that counts [K]."""

    day: date
    logged_h: float
    running_h: float
    judged_h: float
    to_indoor_k: float | None
    to_outdoor_k: float | None

    @property
    def coverage(self) -> float | None:
        """Share of running time that could be judged; None when it did not run."""
        return self.judged_h / self.running_h if self.running_h * 3600 >= LEAST_S else None


def daily(systems: Iterable[System], zone: ZoneInfo, since: datetime) -> dict[int, list[Day]]:
    """Days since ``since`` in the building's zone, by system; one query for all systems."""
    sums = {name: known(feature(name)) for name in SUMMED}
    for mean, (name, weight) in AVERAGED.items():
        product = feature(name) * feature(weight)
        sums[f"{mean}_total"] = known(product)
        sums[f"{mean}_seconds"] = known(feature(weight), where=product)
    rows = (
        Window.objects.filter(
            system__in=list(systems),
            start__gte=since,
            method_version=METHOD_VERSION,  # an older one's rows hold other features
        )
        .values("system", day=TruncDate("start", tzinfo=zone))
        .annotate(**sums)
        .order_by("system", "day")
    )
    found: dict[int, list[Day]] = {}
    for row in rows:
        found.setdefault(row["system"], []).append(_day(dict(row)))
    return found


def _day(row: Mapping[str, Any]) -> Day:
    means: dict[str, Any] = {}
    for mean in AVERAGED:
        seconds = row[f"{mean}_seconds"] or 0.0
        means[mean] = row[f"{mean}_total"] / seconds if seconds >= LEAST_S else None
    hours = [(row[name] or 0.0) / 3600 for name in SUMMED]
    return Day(row["day"], *hours, **means)


@dataclass(frozen=True)
class Change:
    """A week's mean beside the mean of the week before it."""

    now_k: float | None
    before_k: float | None


def change(days: list[Day], last: date, which: str) -> Change:
    """Mean of ``which`` over the 7 days up to ``last`` and over the 7 before."""

    def mean(youngest: int, oldest: int) -> float | None:
        values = [
            value
            for day in days
            if youngest <= (last - day.day).days < oldest
            and (value := getattr(day, which)) is not None
        ]
        return sum(values) / len(values) if len(values) >= 2 else None

    return Change(mean(0, 7), mean(7, 14))
