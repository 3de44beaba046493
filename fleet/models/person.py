"""What a person has chosen for themselves: units, language, and what they want to be told."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import Max
from django.utils.translation import gettext_lazy as _

from fleet.models.notice import News


class Digest(models.TextChoices):
    """How often a person is told what changed."""

    OFF = "off", _("never")
    DAILY = "daily", _("every day on which something changed")
    WEEKLY = "weekly", _("on Mondays, when something changed")


class PersonSettingsManager(models.Manager["PersonSettings"]):
    """Finds a person's settings."""

    def of(self, user_id: int) -> PersonSettings:
        """The settings of that user; made where there are none, so that no old news is told."""
        latest = News.objects.aggregate(latest=Max("pk"))["latest"] or 0
        found, _ = self.get_or_create(user_id=user_id, defaults={"told_up_to": latest})
        return found


class PersonSettings(models.Model):
    """One person's choices. Empty units and language mean the installation's.

    ``told_up_to`` is the last of the news that a digest has told, ``digest_on`` the day of it.
    """

    user = models.OneToOneField(
        settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="settings"
    )
    temperature = models.CharField(max_length=8, blank=True)
    pressure = models.CharField(max_length=8, blank=True)
    mass = models.CharField(max_length=8, blank=True)
    language = models.CharField(max_length=12, blank=True)
    digest = models.CharField(max_length=8, choices=Digest.choices, default=Digest.DAILY)
    urgent = models.BooleanField(default=True)
    told_up_to = models.PositiveBigIntegerField(default=0)
    digest_on = models.DateField(null=True, blank=True)

    objects = PersonSettingsManager()

    def __str__(self) -> str:
        """Whose they are."""
        return f"settings of {self.user}"
