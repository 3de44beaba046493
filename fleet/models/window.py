"""Results: windows, the days still due for analysis, and where each system stands."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date

from django.contrib.postgres.fields import ArrayField
from django.db import connection, models

from fleet.models.system import System

_MARK = """
INSERT INTO fleet_dueday (system_id, day, generation, analysed_generation, attempts, failure)
SELECT %(system)s, day, 1, 0, 0, '' FROM unnest(%(days)s::date[]) AS day ORDER BY day
ON CONFLICT (system_id, day) DO UPDATE
SET generation = fleet_dueday.generation + 1, attempts = 0, retry_at = NULL, failure = ''
"""


class DueDayManager(models.Manager["DueDay"]):
    """Makes days due."""

    def mark(self, system_id: int, days: Iterable[date]) -> None:
        """Days of a system whose samples changed; a parked day gets a fresh start.

        Days are taken in order, so that two writers cannot wait for each other in a circle.
        """
        with connection.cursor() as cursor:
            cursor.execute(_MARK, {"system": system_id, "days": sorted(set(days))})


class DueDay(models.Model):
    """A UTC day of a system whose samples changed after it was last analysed.

    ``generation`` grows with every change, so that a change during analysis is not forgotten.
    Analysis writes the generation it read to ``analysed_generation``; the row goes away when the
    system's standing has taken the day's windows in, if no newer generation has come meanwhile.
    A day that failed too often is parked: it stays, with its ``failure``, until it changes again.
    """

    system = models.ForeignKey(System, on_delete=models.CASCADE, related_name="due_days")
    day = models.DateField()
    generation = models.PositiveBigIntegerField(default=1)
    analysed_generation = models.PositiveBigIntegerField(default=0)
    attempts = models.PositiveSmallIntegerField(default=0)
    retry_at = models.DateTimeField(null=True, blank=True)
    failure = models.TextField(blank=True)

    objects = DueDayManager()

    class Meta:
        """One row a system and day."""

        constraints = (models.UniqueConstraint(fields=("system", "day"), name="due_day_unique"),)

    def __str__(self) -> str:
        """Which day of which system."""
        return f"{self.system} {self.day}"


class Window(models.Model):
    """15 minutes of one system, aligned to UTC.

    ``features`` is one row of ``diagnostics.windows.FEATURES``, in that order; NaN: unknown.
    """

    system = models.ForeignKey(System, on_delete=models.CASCADE, related_name="windows")
    start = models.DateTimeField()
    method_version = models.PositiveIntegerField()
    features = ArrayField(models.FloatField())

    class Meta:
        """One row a system and start."""

        constraints = (models.UniqueConstraint(fields=("system", "start"), name="window_unique"),)

    def __str__(self) -> str:
        """Which window of which system."""
        return f"{self.system} {self.start:%Y-%m-%dT%H:%MZ}"


class Standing(models.Model):
    """Where one system stands as of its last window: what the ranking page reads.

    ``verdict`` is the dump of ``diagnostics.verdict.Verdict`` with its ledger; ``conditions`` is a
    copy of its probabilities, in the order of ``diagnostics.verdict.CONDITIONS``, because a
    ranking of thousands of systems must not unpack thousands of ledgers. ``at`` is the end of the
    last window. ``taught`` names the weights it was judged by (``fleet.models.lesson``).
    """

    system = models.OneToOneField(System, on_delete=models.CASCADE, related_name="standing")
    at = models.DateTimeField()
    last_sample = models.DateTimeField(null=True, blank=True)
    method_version = models.PositiveIntegerField(default=0)
    taught = models.CharField(max_length=16, blank=True, default="", db_default="")
    score = models.FloatField(default=0.0, db_index=True)
    leading = models.CharField(max_length=24)
    coverage = models.FloatField(default=0.0)
    urgent = models.BooleanField(default=False)
    conditions = ArrayField(models.FloatField(), default=list)
    why = models.CharField(max_length=300)
    verdict = models.JSONField(default=dict)

    def __str__(self) -> str:
        """The system and its leading condition."""
        return f"{self.system}: {self.leading}"
