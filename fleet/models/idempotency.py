"""Keys that senders give to uploads, so that one key never stands for two things."""

from __future__ import annotations

from django.db import models
from django.utils import timezone

from fleet.models.site import Site
from fleet.models.upload import Upload


class IdempotencyKey(models.Model):
    """A sender's own name for a request, and the upload it made."""

    site = models.ForeignKey(Site, on_delete=models.CASCADE, related_name="+")
    key = models.CharField(max_length=255)
    upload = models.ForeignKey(Upload, on_delete=models.CASCADE, related_name="+")
    created_at = models.DateTimeField(default=timezone.now)

    class Meta:
        """A key is unique in its site, whichever token sends it."""

        constraints = (
            models.UniqueConstraint(fields=("site", "key"), name="idempotency_key_unique_in_site"),
        )

    def __str__(self) -> str:
        """The key."""
        return self.key
