"""What the visits of one service company taught, as the judging of its systems uses it."""

from __future__ import annotations

from django.db import models

from fleet.models.organisation import Organisation


class Lesson(models.Model):
    """What was learned from an organisation's visits, kept so that it is not learned every time.

    ``fingerprint`` names the visits it was learned from; ``taught`` the weights that came of them,
    empty for the plain table; ``learned`` is the dump of ``diagnostics.weighing.learning.Learned``.
    """

    organisation = models.OneToOneField(
        Organisation, on_delete=models.CASCADE, related_name="lesson"
    )
    fingerprint = models.CharField(max_length=64)
    method_version = models.PositiveIntegerField()
    taught = models.CharField(max_length=16, blank=True)
    learned = models.JSONField(default=dict)
    at = models.DateTimeField(auto_now=True)

    def __str__(self) -> str:
        """Whose, and when."""
        return f"{self.organisation}, {self.at:%Y-%m-%d %H:%M}"
