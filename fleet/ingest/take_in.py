"""Taking an upload in: claim it, read it, merge its samples, say what became of it."""

from __future__ import annotations

import logging
from datetime import timedelta
from uuid import UUID

import numpy as np
import psycopg
from django.db import InterfaceError, OperationalError, connection, transaction
from django.utils import timezone

from fleet.ingest import arrival, cells, circumstances, mapping
from fleet.ingest.due import mark_due
from fleet.ingest.parse import Reading, begin
from fleet.ingest.report import Complaint, RefusedError, Report
from fleet.instants import to_64, to_utc
from fleet.models import Upload, UploadState
from fleet.models.upload import MAX_ATTEMPTS, MAX_CRASHES
from fleet.timeseries import store

logger = logging.getLogger(__name__)

DATABASE_TROUBLE = (OperationalError, InterfaceError, psycopg.OperationalError)
"""COPY raises psycopg's own errors, past Django."""

_COUNT_ATTEMPT = """
UPDATE fleet_upload SET attempts = attempts + 1
WHERE id = (
    SELECT id FROM fleet_upload WHERE id = %s AND state = 'stored' FOR UPDATE SKIP LOCKED
)
-- A failure that could be noted has set a time for the next try.
AND attempts < CASE WHEN retry_at IS NULL THEN %s ELSE %s END
-- Dying with the database before the count is on disk costs no more than one more attempt.
RETURNING set_config('synchronous_commit', 'off', true)
"""

_RETURN_EARLY = "SET LOCAL synchronous_commit TO off"
"""For the commit of an upload's samples. A crash right after may undo it, whole: the upload is
then stored as it was when its bytes were acknowledged, and the sweep has it taken in again."""

_BODY = "SELECT body FROM fleet_upload WHERE id = %s"

RETRY_AFTER = (timedelta(seconds=10), timedelta(minutes=2))


def take_in(upload_id: UUID) -> Upload:
    """Take a stored upload in; any other, or one that somebody else is at, is left alone.

    Samples, due days and the report are written in one transaction. A failure of our own is
    tried again later, and set aside after three; one of the database does not count, and is
    raised where the database is away.
    """
    if _begin_attempt(upload_id):
        try:
            if done := _attempt(upload_id):
                return done
        except DATABASE_TROUBLE:
            logger.exception("The database failed while upload %s was taken in", upload_id)
            _postpone(upload_id)
        except Exception as error:  # whatever it is, the next upload must not wait for this one
            logger.exception("Upload %s could not be taken in", upload_id)
            _note_failure(upload_id, f"{type(error).__name__}: {error}")
    return Upload.objects.defer("body").select_related("system__site").get(pk=upload_id)


def _begin_attempt(upload_id: UUID) -> bool:
    """Count the attempt before it is made, so that one which kills its process counts too."""
    with connection.cursor() as cursor:
        cursor.execute(_COUNT_ATTEMPT, (upload_id, MAX_CRASHES, MAX_ATTEMPTS))
        if cursor.rowcount:
            return True
    _set_aside_if_spent(upload_id)
    return False


@transaction.atomic
def _set_aside_if_spent(upload_id: UUID) -> None:
    upload = _claim(upload_id)
    if upload and upload.attempts >= (MAX_CRASHES if upload.retry_at is None else MAX_ATTEMPTS):
        _set_aside(upload, "the process that took it in died")


@transaction.atomic
def _attempt(upload_id: UUID) -> Upload | None:
    upload = _claim(upload_id, whole=True)
    if upload is None:
        return None
    with connection.cursor() as cursor:
        cursor.execute(_RETURN_EARLY)
    try:
        layouts = mapping.of_site(upload.system.site_id)
        reading = begin(_body(upload_id), circumstances.of(upload.system), layouts)
    except RefusedError as refusal:
        _finish(upload, UploadState.REFUSED, Report(), [refusal.complaint])
        return upload
    merged = store.merge(upload.system_id, reading.samples(), replace=upload.replace)
    report = reading.report
    arrival.check(reading, upload.received_at)
    mark_due(upload.system_id, merged.changed_days)
    report.cells_differing += merged.cells_differing
    report.cells_replaced += merged.cells_replaced
    _list_differences(upload, reading, merged)
    upload.first_sample, upload.last_sample = to_utc(reading.time[0]), to_utc(reading.time[-1])
    _finish(upload, UploadState.TAKEN_IN, report, report.complaints())
    return upload


def _claim(upload_id: UUID, *, whole: bool = False) -> Upload | None:
    """The upload without its bytes, if it waits and nobody holds it; ``whole``: with its system."""
    waiting = Upload.objects.filter(pk=upload_id, state=UploadState.STORED).defer("body")
    if whole:
        related = waiting.select_related("system__site")
        waiting = related.prefetch_related("system__indoor_units")
    return waiting.select_for_update(skip_locked=True, of=("self",)).first()


def _body(upload_id: UUID) -> bytes:
    """The bytes of an upload, sent as they are: as text they are twice as many."""
    with psycopg.Cursor(connection.connection) as cursor:
        cursor.execute(_BODY, (upload_id,), binary=True)
        ((body,),) = cursor.fetchall()
    return bytes(body)


def _list_differences(upload: Upload, reading: Reading, merged: store.Merged) -> None:
    if not merged.differing:
        return
    plant = upload.system.plant()
    outcome = "replaced" if upload.replace else "kept"
    for each in merged.differing:
        column = reading.columns[each.column]
        at = np.searchsorted(reading.time, to_64(each.time))
        reading.report.complain(
            int(reading.lines[at]),
            column.title,
            f"{cells.shown(each.given, column, plant)} differs from the stored "
            f"{cells.shown(each.stored, column, plant)}: the stored one is {outcome}",
        )


def _finish(
    upload: Upload, state: UploadState, report: Report, complaints: list[Complaint]
) -> None:
    upload.state = state
    upload.retry_at = None
    upload.attempts = 0
    upload.rows_accepted = report.rows_accepted
    upload.rows_left_out = report.rows_left_out
    upload.cells_left_out = report.cells_left_out
    upload.cells_differing = report.cells_differing
    upload.cells_replaced = report.cells_replaced
    upload.unknown_columns = report.unknown_columns
    upload.reasons = [complaint.as_json() for complaint in complaints]
    changed = {field.name for field in upload._meta.concrete_fields} - {"id", "body", "system"}
    upload.save(update_fields=changed)


@transaction.atomic
def _postpone(upload_id: UUID) -> None:
    """Take the attempt back."""
    upload = _claim(upload_id)
    if upload is not None:
        upload.attempts -= 1
        upload.retry_at = timezone.now() + RETRY_AFTER[0]
        upload.save(update_fields=["attempts", "retry_at"])


@transaction.atomic
def _note_failure(upload_id: UUID, failure: str) -> None:
    upload = _claim(upload_id)
    if upload is None:
        return
    if upload.attempts >= MAX_ATTEMPTS:
        _set_aside(upload, failure)
        return
    upload.retry_at = timezone.now() + RETRY_AFTER[min(upload.attempts, len(RETRY_AFTER)) - 1]
    upload.save(update_fields=["retry_at"])


def _set_aside(upload: Upload, failure: str) -> None:
    reason = (
        f"internal failure, {upload.attempts} times ({failure}): the bytes are kept, sending them "
        "again tries again"
    )
    upload.state = UploadState.REFUSED
    upload.reasons = [Complaint(None, "", reason[:1000]).as_json()]
    upload.save(update_fields=["state", "reasons"])
