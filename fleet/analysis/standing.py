"""Where a system stands, and its events, derived from its stored windows."""

from __future__ import annotations

from datetime import timedelta

import numpy as np
from django.db import connection, transaction
from django.db.models import F, OuterRef, QuerySet, Subquery, Value
from django.db.models.functions import Coalesce

from diagnostics.analyse import METHOD_VERSION
from diagnostics.weighing.weigh import CONDITIONS
from diagnostics.windows import WINDOW_S
from fleet.analysis import course, days, events, learning
from fleet.analysis.locks import Lock, take
from fleet.analysis.record import Record
from fleet.instants import to_utc
from fleet.models import DueDay, Lesson, Standing, System
from fleet.timeseries import store

_MARK_ANALYSED = """
UPDATE fleet_upload SET state = 'analysed'
WHERE system_id = coalesce(%s, system_id) AND state = 'taken_in' AND NOT EXISTS (
    SELECT FROM fleet_dueday AS due
    WHERE due.system_id = fleet_upload.system_id
      AND due.day BETWEEN (first_sample AT TIME ZONE 'UTC')::date
                      AND (last_sample AT TIME ZONE 'UTC')::date + 1  -- the warm-up reaches over
)
"""

WINDOW = timedelta(seconds=WINDOW_S)


@transaction.atomic
def refresh(system_id: int) -> None:
    """Bring events and standing of a system up to its windows, and settle its analysed days.

    A pure function of the windows and of what visits taught, but for what people did with the
    events. Its cost depends on how much changed, not on the length of the history. Waits for
    another process that refreshes the same system.
    """
    take(Lock.STANDING, system_id)
    analysed = DueDay.objects.filter(days.ANALYSED, system_id=system_id)
    settled = list(analysed.values_list("pk", "generation", "day"))
    system = System.objects.select_related("site").get(pk=system_id)
    weights = learning.weights_of([system_id])[system_id]
    record = Record.of(system, weights)
    if len(record.days):
        events.reconcile(system, record, course.episodes(record))
    if (last := record.last_window()) is not None:
        _stand(system, record, last)
    else:
        Standing.objects.filter(system=system).update(taught=weights.taught)
    if settled:
        learning.say_again(system_id, min(day for _, _, day in settled))
    for pk, generation, _ in settled:
        DueDay.objects.filter(pk=pk, generation=generation).delete()
    mark_uploads_analysed(system_id)


def outdated() -> QuerySet[Standing]:
    """Standings judged by other weights than the visits teach now."""
    lessons = Lesson.objects.filter(
        organisation=OuterRef("system__site__client__organisation"), method_version=METHOD_VERSION
    )
    taught = Coalesce(Subquery(lessons.values("taught")), Value(""))
    # Those of an older method are judged again day by day.
    standings = Standing.objects.filter(method_version=METHOD_VERSION)
    return standings.alias(now=taught).exclude(taught=F("now"))


def mark_uploads_analysed(system_id: int | None = None) -> None:
    """Uploads none of whose days is due any more are analysed; of one system, or of all."""
    with connection.cursor() as cursor:
        cursor.execute(_MARK_ANALYSED, (system_id,))


def _stand(system: System, record: Record, last: np.datetime64) -> None:
    verdict = record.judge(last)
    extent = store.extent(system.pk)
    Standing.objects.update_or_create(
        system=system,
        defaults={
            "at": to_utc(last) + WINDOW,
            "last_sample": extent[1] if extent else None,
            "method_version": METHOD_VERSION,
            "taught": record.weights.taught,
            "score": verdict.score,
            "leading": verdict.leading,
            "coverage": verdict.coverage,
            "urgent": verdict.urgent,
            "conditions": [verdict.conditions[name] for name in CONDITIONS],
            "why": verdict.why[:300],
            "verdict": verdict.as_json(),
        },
    )
