"""Storing a delivery once, however often and however packed it is sent."""

from __future__ import annotations

from django.db import transaction

from fleet.api.body import Delivery
from fleet.api.problems import Problem, ProblemError
from fleet.ingest.receive import receive
from fleet.models import IdempotencyKey, System, Upload, UploadState


class _KnownMeanwhileError(Exception):
    """Another request has stored the same content since we looked."""


def keep(system: System, delivery: Delivery) -> tuple[Upload, bool]:
    """Store a delivery; the upload, and whether it is new.

    Raises ProblemError: 409 when its key stands for another upload; nothing is stored then.
    """
    try:
        return _keep(system, delivery)
    except _KnownMeanwhileError:
        return _keep(system, delivery)


@transaction.atomic
def _keep(system: System, delivery: Delivery) -> tuple[Upload, bool]:
    # A gateway that packs anew for each try sends other bytes of the same content.
    content = f"content:{system.pk}:{delivery.plain_sha256}"
    upload = _known(system, content)
    created = False
    if upload is None:
        upload, created = receive(system, delivery.name, delivery.content)
        if _first_under(system, content, upload) != upload:
            raise _KnownMeanwhileError
    elif upload.state == UploadState.REFUSED:
        upload, _ = receive(system, upload.name, bytes(upload.body))  # perhaps it gets a new chance
    if delivery.key is not None and _first_under(system, f"key:{delivery.key}", upload) != upload:
        raise ProblemError(Problem.KEY_REUSED, "It stands for an upload of other bytes.")
    return upload, created


def _known(system: System, key: str) -> Upload | None:
    found = IdempotencyKey.objects.filter(site=system.site, key=key)
    return Upload.objects.defer("body").filter(pk__in=found.values("upload")).first()


def _first_under(system: System, key: str, upload: Upload) -> Upload:
    """The upload that had this key first: the given one, or one before it."""
    kept, _ = IdempotencyKey.objects.select_related("upload").get_or_create(
        site=system.site, key=key, defaults={"upload": upload}
    )
    return kept.upload
