"""How long a system-day takes. Ceilings are generous; what was measured is printed."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime
from time import perf_counter
from typing import Any

import numpy as np
import pytest

from fleet.ingest.manifest import register
from fleet.ingest.receive import receive
from fleet.ingest.take_in import take_in
from fleet.models import System, UploadState
from fleet.timeseries import store
from fleet.timeseries.store import Block
from tests.ingest.building import MANIFEST, day_of_logs

pytestmark = pytest.mark.django_db

UNITS = [f"B-{n}" for n in range(7)]
ROWS = 8640


def system_with_seven_units() -> System:
    """15 outdoor and 49 indoor channels."""
    units = "".join(
        f'[[system.indoor]]\ncode = "{code}"\ncooling_capacity_kw = 2.2\n' for code in UNITS
    )
    return register(MANIFEST[: MANIFEST.index("[[system.indoor]]")] + units).systems.get()


def timed(what: str, call: Callable[[], Any]) -> tuple[float, Any]:
    began = perf_counter()
    result = call()
    took = perf_counter() - began
    print(f"{what}: {took * 1e3:.0f} ms")  # noqa: T201
    return took, result


def test_a_system_day_is_taken_in_and_read_fast() -> None:
    """Goals on one idle core: 0.6 s for the whole, 0.25 s for the merge, 0.06 s for a read."""
    system = system_with_seven_units()
    body = day_of_logs(ROWS, UNITS)
    upload, _ = receive(system, "day.csv.gz", body)
    whole, taken = timed("gunzip, parse, validate, merge", lambda: take_in(upload.pk))
    assert (taken.state, taken.rows_accepted) == (UploadState.TAKEN_IN, ROWS)
    assert taken.cells_left_out == 0
    start = datetime(2026, 1, 5, tzinfo=UTC)
    fresh = System.objects.prefetch_related("indoor_units").get(pk=system.pk)
    reading, samples = timed("read", lambda: store.read(fresh, start, start.replace(day=6)))
    assert len(samples) == ROWS
    assert whole < 3.0
    assert reading < 0.6


def test_a_system_day_is_merged_fast_over_another() -> None:
    system = system_with_seven_units()
    time = np.datetime64("2026-01-05", "us") + np.arange(ROWS) * np.timedelta64(10, "s")
    rng = np.random.default_rng(3)
    outdoor = {
        name: rng.integers(0, 5, ROWS).astype(np.int16)
        for name in ("suction_pressure", "discharge_pressure", "suction_temperature")
    }
    indoor = {
        (slot, name): rng.integers(0, 2, ROWS).astype(np.int16)
        for slot in range(7)
        for name in ("demand", "call", "setpoint", "valve", "room_temperature")
    }
    some = Block(time, outdoor, {})
    everything = Block(time, outdoor, indoor)
    added, _ = timed("merge of new rows", lambda: store.merge(system.id, some))
    filled, done = timed("merge that fills cells", lambda: store.merge(system.id, everything))
    again, same = timed("merge of known cells", lambda: store.merge(system.id, everything))
    assert done.cells_filled == ROWS * 35
    assert same == store.Merged()
    assert max(added, filled, again) < 1.5
