"""Bytes a site sent. The row is the queue: a broker only rings the bell."""

from __future__ import annotations

import uuid

from django.db import models

from fleet.models.system import System

MAX_ATTEMPTS = 3
"""Attempts to take an upload in, the last of which failed, after which it is set aside."""

MAX_CRASHES = 9
"""The same when the last attempt left no word. It is more, because a process or database that
dies is the machine's fault more often than the upload's."""


class UploadState(models.TextChoices):
    """How far an upload has come."""

    STORED = "stored"
    TAKEN_IN = "taken_in"
    ANALYSED = "analysed"
    REFUSED = "refused"


class Uploads(models.QuerySet["Upload"]):
    """Uploads by what is to become of them."""

    def set_aside(self) -> Uploads:
        """Those refused for a failure of ours, not for what is in them."""
        return self.filter(state=UploadState.REFUSED, attempts__gte=MAX_ATTEMPTS)

    def store_anew(self) -> int:
        """Have them taken in as if they had just come; how many."""
        return self.update(state=UploadState.STORED, attempts=0, retry_at=None, reasons=[])


class Upload(models.Model):
    """One file as it was received, and the report of what became of it.

    ``reasons`` holds the first 100 complaints, each ``{"line", "column", "reason"}``.
    """

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    system = models.ForeignKey(System, on_delete=models.CASCADE, related_name="uploads")
    name = models.CharField(max_length=255)
    sha256 = models.CharField(max_length=64)
    body = models.BinaryField()
    replace = models.BooleanField(default=False)
    state = models.CharField(
        max_length=12, choices=UploadState.choices, default=UploadState.STORED, db_index=True
    )
    received_at = models.DateTimeField(auto_now_add=True)
    attempts = models.PositiveSmallIntegerField(default=0)
    retry_at = models.DateTimeField(null=True, blank=True)
    rows_accepted = models.PositiveIntegerField(default=0)
    rows_left_out = models.PositiveIntegerField(default=0)
    cells_left_out = models.PositiveIntegerField(default=0)
    cells_differing = models.PositiveIntegerField(default=0)
    cells_replaced = models.PositiveIntegerField(default=0)
    unknown_columns = models.JSONField(default=list)
    reasons = models.JSONField(default=list)
    first_sample = models.DateTimeField(null=True, blank=True)
    last_sample = models.DateTimeField(null=True, blank=True)

    objects = Uploads.as_manager()

    class Meta:
        """The same bytes for the same system are one upload."""

        constraints = (
            models.UniqueConstraint(
                fields=("system", "sha256", "replace"), name="upload_bytes_known_once"
            ),
        )

    def __str__(self) -> str:
        """The file's name and where it went."""
        return f"{self.name} → {self.system}"
