"""Analysed days of a system, put down as rows."""

from __future__ import annotations

from datetime import UTC, date, timedelta

import numpy as np
from django.utils import timezone

from diagnostics.analyse import METHOD_VERSION
from diagnostics.windows import FEATURES, INDEX
from fleet.models import PooledDay, System

YESTERDAY = (timezone.now() - timedelta(days=1)).astimezone(UTC).date()


def put_days(system: System, last: date, subcooling_k: list[float], **more: float) -> None:
    """Days ending with ``last``, ten hours judged each, with the subcooling given."""
    first = last - timedelta(days=len(subcooling_k) - 1)
    hours = {"logged_s": 24, "running_s": 10, "judged_s": 10, "to_indoor_s": 10, "steady_s": 10}
    usual = {"air_to_indoor_k": 293.15, "load_to_indoor": 0.5, "sigma_to_indoor_k": 0.5}
    for i, value in enumerate(subcooling_k):
        features = np.full(len(FEATURES), np.nan)
        for name, given in hours.items():
            features[INDEX[name]] = 3600.0 * given
        for name, given in (usual | {"saturated_share": 0.0} | more).items():
            features[INDEX[name]] = given
        features[INDEX["subcooling_to_indoor_k"]] = value
        PooledDay.objects.create(
            system=system,
            day=first + timedelta(days=i),
            method_version=METHOD_VERSION,
            features=features.tolist(),
        )
