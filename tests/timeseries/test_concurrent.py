"""Several writers at once, each with its own connection."""

from __future__ import annotations

from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime
from functools import partial

import numpy as np
import pytest
from django.db import connection, transaction

from diagnostics.channels import EMPTY, OUTDOOR_BY_NAME
from fleet.models import System
from fleet.timeseries import store
from fleet.timeseries.store import Block
from tests.ingest.building import registered
from tests.timeseries.test_store import other_system

pytestmark = pytest.mark.django_db(transaction=True)

ROWS = 600
WRITERS = 4
CHANNEL = "suction_pressure"
EARLY, LATE = datetime(2000, 1, 1, tzinfo=UTC), datetime(2100, 1, 1, tzinfo=UTC)


@pytest.fixture
def systems() -> Iterator[list[System]]:
    """Two systems; the samples go afterwards, which Django does not know of."""
    one = registered()
    yield [one, other_system(one)]
    with connection.cursor() as cursor:
        cursor.execute("DELETE FROM samples; DELETE FROM sample_days")


def share(writer: int, week: int) -> Block:
    """Every instant of half an hour, with cells of every second one from each writer."""
    codes = np.arange(ROWS, dtype=np.int16)
    codes[np.arange(ROWS) % WRITERS != writer] = EMPTY
    start = np.datetime64("2033-01-02T23:45:00", "us") + np.timedelta64(7 * week, "D")
    return Block(start + np.arange(ROWS) * np.timedelta64(3, "s"), {CHANNEL: codes}, {})


def write(system_id: int, writer: int, week: int) -> store.Merged:
    """One merge in a transaction of its own, on this thread's connection."""
    try:
        with transaction.atomic():
            return store.merge(system_id, share(writer, week))
    finally:
        connection.close()


def test_writers_of_the_same_rows_complete_each_other(systems: list[System]) -> None:
    """Both systems at once, over the end of weeks that have no partitions yet."""
    jobs = [
        partial(write, system.id, writer, week)
        for week in range(3)
        for writer in range(WRITERS)
        for system in systems
    ]
    with ThreadPoolExecutor(WRITERS) as pool:
        done = [future.result(60) for future in [pool.submit(job) for job in jobs]]
    assert sum(each.rows_new for each in done) == 2 * 3 * ROWS
    assert sum(each.cells_filled for each in done) == 2 * 3 * ROWS * (WRITERS - 1) // WRITERS
    assert sum(each.cells_differing for each in done) == 0
    for system in systems:
        samples = store.read(System.objects.get(pk=system.pk), EARLY, LATE)
        codes = OUTDOOR_BY_NAME[CHANNEL].encode(samples.outdoor[CHANNEL])
        assert codes.tolist() == list(range(ROWS)) * 3
        assert len(store.days(system.id)) == 6
