"""Windows of a day pooled into one row: what pages over months read."""

from __future__ import annotations

from django.contrib.postgres.fields import ArrayField
from django.db import models

from fleet.models.system import System


class PooledDay(models.Model):
    """The windows of one system's UTC day as one row of ``diagnostics.windows.FEATURES``.

    Written together with the windows, so that a year is 365 rows instead of 35,000.
    """

    system = models.ForeignKey(System, on_delete=models.CASCADE, related_name="pooled_days")
    day = models.DateField()
    method_version = models.PositiveIntegerField()
    features = ArrayField(models.FloatField())

    class Meta:
        """One row a system and day."""

        constraints = (models.UniqueConstraint(fields=("system", "day"), name="pooled_day_unique"),)

    def __str__(self) -> str:
        """Which day of which system."""
        return f"{self.system} {self.day}"
