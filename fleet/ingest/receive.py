"""Keeping the bytes of an upload; taking them in is another step."""

from __future__ import annotations

import hashlib

from django.db import transaction

from fleet.ingest.unpack import TooLargeError, check_size
from fleet.models import System, Upload

__all__ = ["TooLargeError", "receive"]


def receive(
    system: System, name: str, body: bytes, *, replace: bool = False
) -> tuple[Upload, bool]:
    """Keep an upload; durable once the transaction around it, if any, is committed.

    Returns the upload and True, or, for bytes known already, the upload they made and False.
    An upload that had been set aside after failures of our own gets a new chance.
    Raises TooLargeError: over the size limit, nothing is kept.
    """
    check_size(body)
    with transaction.atomic():
        upload, created = Upload.objects.get_or_create(
            system=system,
            sha256=hashlib.sha256(body).hexdigest(),
            replace=replace,
            defaults={"name": name[-255:], "body": body},
        )
        if not created and Upload.objects.set_aside().filter(pk=upload.pk).store_anew():
            upload.refresh_from_db()
    return upload, created
