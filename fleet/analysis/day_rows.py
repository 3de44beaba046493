"""Pooled days in and out of the database."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date

import numpy as np
from django.db.models import BinaryField, Exists, Func, OuterRef

from diagnostics import pooling
from diagnostics.analyse import METHOD_VERSION
from diagnostics.windows import FEATURES, Windows, empty
from fleet.models import DueDay, PooledDay

_HEADER_BYTES = 20
_ELEMENT = np.dtype([("bytes", ">i4"), ("value", ">f8")])
"""PostgreSQL's binary form of an array of one dimension without NULL: a header, then elements."""


class _AsSent(Func):
    """An array in its binary form: years of days as text took twice as long to write and read."""

    function = "array_send"
    output_field = BinaryField()


def replace(system_id: int, day: date, windows: Windows) -> None:
    """Put the pooled windows of a UTC day in the place of its row; none where there are none.

    What was kept of this day's course and of later days' is void. Runs in the caller's
    transaction, which holds `Lock.STANDING` of the system.
    """
    later = PooledDay.objects.filter(system_id=system_id, day__gte=day)
    later.exclude(judged_by="").update(judged_by="")
    if not len(windows):
        PooledDay.objects.filter(system_id=system_id, day=day).delete()
        return
    row = PooledDay(
        system_id=system_id,
        day=day,
        method_version=METHOD_VERSION,
        features=pooling.pool(windows).features[0].tolist(),
    )
    PooledDay.objects.bulk_create(
        [row],
        update_conflicts=True,
        unique_fields=("system", "day"),
        update_fields=("method_version", "features"),
    )


def load(system_ids: Iterable[int]) -> dict[int, Windows]:
    """All days of each system under the present method, each dated at its midnight in UTC.

    One query; systems without a day have empty windows.
    """
    wanted = list(system_ids)
    rows = PooledDay.objects.filter(system_id__in=wanted, method_version=METHOD_VERSION)
    found: dict[int, tuple[list[date], list[bytes]]] = {pk: ([], []) for pk in wanted}
    for system_id, day, features in rows.order_by("day").values_list(
        "system_id", "day", _AsSent("features")
    ):
        days, values = found[system_id]
        days.append(day)
        values.append(bytes(features)[_HEADER_BYTES:])
    return {pk: _windows(days, values) for pk, (days, values) in found.items()}


def outdated(system_ids: Iterable[int]) -> set[int]:
    """Systems some of whose days still wait to be judged by the present method.

    A day whose samples were let go stays as an older method judged it; it waits for nothing.
    """
    rows = PooledDay.objects.filter(system_id__in=list(system_ids))
    is_due = DueDay.objects.filter(system=OuterRef("system"), day=OuterRef("day"))
    waiting = rows.exclude(method_version=METHOD_VERSION).filter(Exists(is_due))
    return set(waiting.values_list("system_id", flat=True).distinct())


def _windows(days: list[date], values: list[bytes]) -> Windows:
    if not days:
        return empty()
    start = np.array(days, "datetime64[D]").astype("datetime64[us]")
    features = np.frombuffer(b"".join(values), _ELEMENT)["value"].astype(np.float64)
    return Windows(start, features.reshape(-1, len(FEATURES)))
