"""Where a system stands, and its events, derived from its stored windows."""

from __future__ import annotations

from datetime import timedelta

import numpy as np
from django.db import connection, transaction

from diagnostics import verdict as verdicts
from diagnostics.analyse import METHOD_VERSION
from diagnostics.episodes import episodes
from diagnostics.plant import Plant
from diagnostics.verdict import Verdict
from diagnostics.weigh import CONDITIONS
from diagnostics.windows import WINDOW_S, Windows
from fleet.analysis import days, events, window_rows
from fleet.analysis.instants import to_utc
from fleet.analysis.locks import Lock, take
from fleet.models import DueDay, Standing, System
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

    A pure function of the windows but for what people did with the events. Waits for another
    process that refreshes the same system.
    """
    take(Lock.STANDING, system_id)
    analysed = DueDay.objects.filter(days.ANALYSED, system_id=system_id)
    settled = list(analysed.values_list("pk", "generation"))
    system = System.objects.select_related("site").get(pk=system_id)
    plant, windows = system.plant(), window_rows.load(system_id)
    if len(windows):
        events.reconcile(system, plant, windows, episodes(windows, plant))
        _stand(system, plant, windows)
    for pk, generation in settled:
        DueDay.objects.filter(pk=pk, generation=generation).delete()
    mark_uploads_analysed(system_id)


def judge(windows: Windows, plant: Plant) -> Verdict:
    """The verdict as of the end of the last window."""
    return verdicts.judge(windows, plant, windows.start[-1] + np.timedelta64(WINDOW_S, "s"))


def mark_uploads_analysed(system_id: int | None = None) -> None:
    """Uploads none of whose days is due any more are analysed; of one system, or of all."""
    with connection.cursor() as cursor:
        cursor.execute(_MARK_ANALYSED, (system_id,))


def _stand(system: System, plant: Plant, windows: Windows) -> None:
    verdict = judge(windows, plant)
    extent = store.extent(system.pk)
    Standing.objects.update_or_create(
        system=system,
        defaults={
            "at": to_utc(windows.start[-1]) + WINDOW,
            "last_sample": extent[1] if extent else None,
            "method_version": METHOD_VERSION,
            "score": verdict.score,
            "leading": verdict.leading,
            "coverage": verdict.coverage,
            "urgent": verdict.urgent,
            "conditions": [verdict.conditions[name] for name in CONDITIONS],
            "why": verdict.why[:300],
            "verdict": verdict.as_json(),
        },
    )
