"""What workers do when the bell rings. The database rows are the queue; messages carry ids only."""

from __future__ import annotations

import logging
from collections.abc import Iterator
from datetime import timedelta
from functools import partial
from typing import Any
from uuid import UUID

from celery import Task, shared_task
from django.db import transaction
from django.db.models import Q
from django.utils import timezone
from kombu.exceptions import KombuError
from redis.exceptions import RedisError

from fleet import celery  # noqa: F401  shared tasks need the configured app
from fleet.analysis import backlog, days, events, learning, standing
from fleet.analysis.locks import Lock, try_take
from fleet.ingest import take_in as ingest
from fleet.logs import about
from fleet.models import Upload, UploadState
from fleet.notices import mails, outbox
from fleet.notices.look import look
from fleet.timeseries import store

logger = logging.getLogger(__name__)

AT_ONE_GO_S = 20.0
"""Work a task does before it rings again for the rest: far below the limit for tasks."""

FRESH = timedelta(seconds=2)
"""The message for an upload younger than this is probably still on its way."""

MOST_RINGS = 100
"""Messages of each kind a sweep sends. Those that find nothing to do cost milliseconds, but a
sweep must not fill the queue faster than workers empty it."""


@shared_task
def take_in(upload_id: str) -> None:
    """Take in a stored upload, and have its days analysed."""
    with about(upload=upload_id):
        upload = ingest.take_in(UUID(upload_id))
        said = (upload.name, upload.system, upload.state)
        logger.info("%s of %s: %s", *said, extra={"system": upload.system_id})
    ring(analyse, upload.system_id)


@shared_task
def analyse(system_id: int) -> None:
    """Analyse the due days of a system and settle where it stands."""
    with about(system=system_id):
        if backlog.work_off(system_id, seconds=AT_ONE_GO_S):
            ring(analyse, system_id)


@shared_task
def look_for_news() -> None:
    """Note what changed, and queue what people and programs are told of it."""
    look(timezone.now())
    mails.queue_digests(timezone.now())
    outbox.forget_old(timezone.now())


@shared_task
def send_messages() -> None:
    """Send mails and calls whose time has come."""
    outbox.send_waiting(seconds=AT_ONE_GO_S)


@shared_task
def learn() -> None:
    """Learn from visits that have changed; the sweep has their fleet judged anew."""
    learning.renew()


@shared_task
@transaction.atomic
def sweep() -> None:
    """Do what time brings, and ring for what no message will come for."""
    if not try_take(Lock.SWEEP):
        return
    store.prepare(timezone.now())
    events.unshelve_expired()
    days.mark_outdated_due()
    standing.mark_uploads_analysed()
    for task, *ids in waiting():
        ring(task, *ids)


def waiting() -> Iterator[tuple[Any, ...]]:
    """Tasks with work that nobody may have rung for, and their ids."""
    yield from ((take_in, str(upload_id)) for upload_id in left_lying())
    yield from ((analyse, pk) for pk in backlog.systems_with_work(MOST_RINGS))
    if learning.stale():
        yield (learn,)


def left_lying() -> list[UUID]:
    """Uploads stored a while ago that nobody has taken in, oldest first.

    A time of arrival or of another try that lies ahead was written before the clock was put back.
    """
    now = timezone.now()
    stored = Upload.objects.filter(state=UploadState.STORED)
    old = stored.filter(Q(received_at__lt=now - FRESH) | Q(received_at__gt=now))
    later = Q(retry_at__gt=now, retry_at__lte=now + max(ingest.RETRY_AFTER))
    waiting = old.exclude(later).order_by("received_at")
    return list(waiting.values_list("pk", flat=True)[:MOST_RINGS])


def ring(task: Task, *ids: Any) -> None:
    """Send a message when the transaction is committed. A lost one is the sweep's to make good."""
    transaction.on_commit(partial(_send, task, ids))


def _send(task: Task, ids: tuple[Any, ...]) -> None:
    try:
        task.apply_async(ids, retry=False)
    except (KombuError, RedisError, OSError) as error:
        logger.warning("Could not ring for %s%s: %s", task.name, ids, error)
