"""Names under which an upload is known, so that one never stands for two uploads."""

from __future__ import annotations

from django.db import models
from django.utils import timezone

from fleet.models.site import Site
from fleet.models.upload import Upload


class IdempotencyKey(models.Model):
    """A name and the first upload under it.

    ``key:…`` is a sender's own for its request; ``content:…`` is the system and the SHA-256 of the
    unpacked bytes, which are the same however they were packed.
    """

    site = models.ForeignKey(Site, on_delete=models.CASCADE, related_name="+")
    key = models.CharField(max_length=255)
    upload = models.ForeignKey(Upload, on_delete=models.CASCADE, related_name="+")
    created_at = models.DateTimeField(default=timezone.now)

    class Meta:
        """A name is unique in its site, whichever token sends it."""

        constraints = (
            models.UniqueConstraint(fields=("site", "key"), name="idempotency_key_unique_in_site"),
        )

    def __str__(self) -> str:
        """The key."""
        return self.key
