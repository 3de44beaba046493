"""A building with one or more systems."""

from __future__ import annotations

from zoneinfo import ZoneInfo

from django.db import models

from fleet.models.client import Client


def area_of(timezone: str) -> str:
    """What a time zone's name tells of a place: its city."""
    return timezone.rpartition("/")[2].replace("_", " ")


class Site(models.Model):
    """One building; ``code`` is unique in the installation.

    Region and coordinates are no part of a manifest: people add them where rounds are planned.
    """

    client = models.ForeignKey(Client, on_delete=models.PROTECT, related_name="sites")
    code = models.SlugField(max_length=48, unique=True)
    name = models.CharField(max_length=200)
    timezone = models.CharField(max_length=64)
    altitude_m = models.FloatField(default=0.0)
    region = models.CharField(max_length=80, blank=True)
    latitude_deg = models.FloatField(null=True, blank=True)
    longitude_deg = models.FloatField(null=True, blank=True)

    class Meta:
        """Sites are listed by name; coordinates are of the Earth, and both or none."""

        ordering = ("name",)
        constraints = (
            models.CheckConstraint(
                condition=models.Q(latitude_deg=None, longitude_deg=None)
                | models.Q(
                    latitude_deg__isnull=False,  # a check that comes to NULL would pass
                    longitude_deg__isnull=False,
                    latitude_deg__range=(-90, 90),
                    longitude_deg__range=(-180, 180),
                ),
                name="site_coordinates",
            ),
        )

    def __str__(self) -> str:
        """The name people use."""
        return self.name

    @property
    def area(self) -> str:
        """The region, or what the time zone's name tells of it where nobody has given one."""
        return self.region or area_of(self.timezone)

    @property
    def located(self) -> bool:
        """Whether the coordinates are known."""
        return self.latitude_deg is not None and self.longitude_deg is not None

    @property
    def zone(self) -> ZoneInfo:
        """The building's own time zone."""
        return ZoneInfo(self.timezone)
