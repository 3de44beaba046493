"""A building with one or more systems."""

from __future__ import annotations

from zoneinfo import ZoneInfo

from django.db import models

from fleet.models.client import Client


class Site(models.Model):
    """One building; ``code`` is unique in the installation."""

    client = models.ForeignKey(Client, on_delete=models.PROTECT, related_name="sites")
    code = models.SlugField(max_length=48, unique=True)
    name = models.CharField(max_length=200)
    timezone = models.CharField(max_length=64)
    altitude_m = models.FloatField(default=0.0)

    class Meta:
        """Sites are listed by name."""

        ordering = ("name",)

    def __str__(self) -> str:
        """The name people use."""
        return self.name

    @property
    def zone(self) -> ZoneInfo:
        """The building's own time zone."""
        return ZoneInfo(self.timezone)
