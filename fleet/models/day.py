"""Windows of a day pooled into one row: what pages over months read."""

from __future__ import annotations

from django.contrib.postgres.fields import ArrayField
from django.db import models

from fleet.models.system import System


class PooledDay(models.Model):
    """The windows of one system's UTC day as one row of ``diagnostics.windows.FEATURES``.

    Written together with the windows, so that a year is 365 rows instead of 35,000.

    Beside it is kept what ``fleet.analysis.course`` found at its end: ``still_open``, the episode
    that had not ended, and ``closed``, those that ended in it. Both hold good while ``judged_by``
    is what the system is judged by; it is empty from when the day or an earlier one changes.
    """

    system = models.ForeignKey(System, on_delete=models.CASCADE, related_name="pooled_days")
    day = models.DateField()
    method_version = models.PositiveIntegerField()
    features = ArrayField(models.FloatField())
    judged_by = models.CharField(max_length=64, blank=True, default="", db_default="")
    still_open = models.JSONField(null=True, blank=True)
    closed = models.JSONField(
        blank=True, default=list, db_default=models.Value([], models.JSONField())
    )

    class Meta:
        """One row a system and day."""

        constraints = (models.UniqueConstraint(fields=("system", "day"), name="pooled_day_unique"),)

    def __str__(self) -> str:
        """Which day of which system."""
        return f"{self.system} {self.day}"
