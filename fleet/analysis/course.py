"""The episodes of a system, from what was kept of each day and the days that changed since.

Beside every pooled day stands what `diagnostics.episodes` left at its end, and by what it was
judged. A day that changes forgets what was kept of it and of all later days; a change of the plant,
the weights, the method or of what is normal for the system changes by what it is judged, and all
days are followed again. So what is kept never has to be trusted further than that, and the result
is that of all windows, to the last bit.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable
from typing import Any

import numpy as np
from django.db import connection

from diagnostics import verdict
from diagnostics.analyse import METHOD_VERSION
from diagnostics.episodes import SPAN_S, Day, Episode, Open, follow
from diagnostics.findings import Context
from fleet.analysis.record import Record
from fleet.models import PooledDay

_KEEP = """
UPDATE fleet_pooledday AS day
SET judged_by = %s, still_open = kept.still_open, closed = kept.closed
FROM unnest(%s::date[], %s::jsonb[], %s::jsonb[]) AS kept (day, still_open, closed)
WHERE day.system_id = %s AND day.day = kept.day
"""
_FIRST_EVER = np.datetime64("2000-01-01T00:00:00", "us")
_SPAN = np.timedelta64(int(SPAN_S), "s")


def episodes(record: Record) -> tuple[Episode, ...]:
    """Every episode of a system, oldest first; what its days come to is kept.

    Runs in the caller's transaction, which holds `Lock.STANDING` of the system.
    """
    context = Context(record.plant, verdict.baseline(record.days, record.plant, record.weights))
    judged_by = _digest(record, context)
    kept = PooledDay.objects.filter(
        system=record.system_id, method_version=METHOD_VERSION, judged_by=judged_by
    )
    last = kept.order_by("-day").values_list("day", "still_open").first()
    since, before = _FIRST_EVER, None
    if last is not None:
        since = np.datetime64(last[0], "us") + np.timedelta64(1, "D")
        before = _open_from_json(last[1])
    earlier = kept.exclude(closed=[]).order_by("day").values_list("closed", flat=True)
    closed = [_episode_from_json(raw) for day in earlier for raw in day]
    windows = record.windows(since - _SPAN)
    if len(windows) and windows.start[-1] >= since:
        days = follow(windows, context, record.weights, since, before)
        _keep(record.system_id, judged_by, days)
        closed += [episode for day in days for episode in day.closed]
        before = days[-1].still_open
    return (*closed, *([before.episode(None)] if before else []))


def _digest(record: Record, context: Context) -> str:
    """Names all that a day's course depends on beside windows."""
    found = hashlib.sha256(repr((METHOD_VERSION, record.weights.taught, record.plant)).encode())
    if context.baseline is not None:
        found.update(context.baseline.mean.tobytes() + context.baseline.covariance.tobytes())
    return found.hexdigest()


def _keep(system_id: int, judged_by: str, days: Iterable[Day]) -> None:
    rows = [
        (
            day.day.item(),
            json.dumps(_open_as_json(day.still_open)),
            json.dumps([_episode_as_json(episode) for episode in day.closed]),
        )
        for day in days
    ]
    with connection.cursor() as cursor:
        cursor.execute(_KEEP, (judged_by, *map(list, zip(*rows, strict=True)), system_id))


def _open_as_json(stretch: Open | None) -> dict[str, Any] | None:
    if stretch is None:
        return None
    return {
        "opened": _microseconds(stretch.opened),
        "last": _microseconds(stretch.last),
        "total": stretch.total.tolist(),
        "peak": stretch.peak.tolist(),
        "peak_at": stretch.peak_at.astype(np.int64).tolist(),
    }


def _open_from_json(raw: dict[str, Any] | None) -> Open | None:
    if raw is None:
        return None
    return Open(
        opened=np.datetime64(raw["opened"], "us"),
        last=np.datetime64(raw["last"], "us"),
        total=np.array(raw["total"]),
        peak=np.array(raw["peak"]),
        peak_at=np.array(raw["peak_at"], "datetime64[us]"),
    )


def _episode_as_json(episode: Episode) -> dict[str, Any]:
    assert episode.closed is not None
    return {
        "condition": episode.condition,
        "opened": _microseconds(episode.opened),
        "last": _microseconds(episode.last),
        "closed": _microseconds(episode.closed),
        "peak_probability": episode.peak_probability,
        "peak_at": _microseconds(episode.peak_at),
    }


def _episode_from_json(raw: dict[str, Any]) -> Episode:
    moments = {name: np.datetime64(raw[name], "us") for name in _MOMENTS}
    return Episode(raw["condition"], peak_probability=raw["peak_probability"], **moments)


_MOMENTS = ("opened", "last", "closed", "peak_at")


def _microseconds(moment: np.datetime64) -> int:
    return int(moment.astype("datetime64[us]").astype(np.int64))
