"""How a site's foreign logs are to be read."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.utils import timezone

from fleet.models.site import Site
from fleet.models.system import System


class LogMapping(models.Model):
    """How files with certain titles are read: ``layout`` is ``fleet.ingest.mapping.Layout``.

    ``sample`` holds the beginning of the file it was made from, to look at; ``system`` is the one
    that file came of. Uploads of the site are read by it once it is ``in_use``.
    """

    site = models.ForeignKey(Site, on_delete=models.CASCADE, related_name="log_mappings")
    system = models.ForeignKey(System, on_delete=models.CASCADE, related_name="+")
    name = models.CharField(max_length=255)
    sample = models.BinaryField()
    layout = models.JSONField()
    in_use = models.BooleanField(default=False)
    made_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.SET_NULL, related_name="+"
    )
    made_at = models.DateTimeField(default=timezone.now)

    class Meta:
        """Newest first."""

        ordering = ("-made_at", "-pk")

    def __str__(self) -> str:
        """The file it was made from, and its site."""
        return f"{self.name} at {self.site}"
