"""Work given up after failures of our own: what it is, why, and giving it another chance."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from uuid import UUID

from django.db import transaction
from django.db.models import QuerySet

from fleet import tasks
from fleet.analysis import days
from fleet.models import DueDay, Upload


@dataclass(frozen=True)
class Retried:
    """How much was put back into the queue."""

    uploads: int
    days: int


def uploads() -> QuerySet[Upload]:
    """Uploads refused for a failure of ours, not for what is in them; oldest first."""
    found = Upload.objects.set_aside().defer("body")
    return found.select_related("system__site").order_by("received_at")


def parked_days() -> QuerySet[DueDay]:
    """Days whose analysis failed or died too often."""
    return DueDay.objects.filter(days.PARKED).select_related("system__site").order_by("day")


@transaction.atomic
def retry_uploads(ids: Iterable[UUID]) -> int:
    """Store these uploads anew, if they are set aside, and ring for them; how many."""
    chosen = list(uploads().filter(pk__in=list(ids)).select_for_update(of=("self",)))
    Upload.objects.filter(pk__in=[upload.pk for upload in chosen]).store_anew()
    for upload in chosen:
        tasks.ring(tasks.take_in, str(upload.pk))
    return len(chosen)


@transaction.atomic
def retry_everything() -> Retried:
    """Give all that is set aside another chance."""
    put_back = retry_uploads(uploads().values_list("pk", flat=True))
    parked = list(parked_days())
    for due in parked:
        DueDay.objects.mark(due.system_id, [due.day])
    for system_id in {due.system_id for due in parked}:
        tasks.ring(tasks.analyse, system_id)
    return Retried(put_back, len(parked))
