"""The door to the samples: merge a block in, read a span out.

Behind it: one wide table of int2 codes, a hypertable or weekly partitions, and a list of the days
that hold samples. Nothing else in the project names these tables.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, date, datetime, timedelta
from typing import Any, Literal

import numpy as np
from django.db import connection
from psycopg import sql

from diagnostics.channels import INDOOR, OUTDOOR
from diagnostics.samples import Samples, TimeArray
from fleet.instants import RESOLUTION, to_utc
from fleet.models import System
from fleet.timeseries import binary, partitions, statements
from fleet.timeseries.block import (
    MAX_DIFFERENCES_LISTED,
    Block,
    BlockError,
    Codes,
    Difference,
    Merged,
    Stream,
)
from fleet.timeseries.columns import indoor_column
from fleet.timeseries.merging import Meeting, meet

__all__ = [
    "Block",
    "BlockError",
    "Merged",
    "Stream",
    "backend",
    "days",
    "extent",
    "merge",
    "prepare",
    "read",
]

LOCK_NAMESPACE = 0x6D72
"""Keeps our advisory locks apart from other uses of them."""


def backend() -> Literal["hypertable", "partitions"]:
    """What keeps the samples in pieces of time."""
    with connection.cursor() as cursor:
        cursor.execute(statements.plain("backend"))
        (partitioned,) = cursor.fetchone()
    return "partitions" if partitioned else "hypertable"


def prepare(now: datetime) -> None:
    """Create the pieces for the coming weeks, so that no upload has to; safe to repeat."""
    if backend() == "partitions":
        partitions.ensure(partitions.ahead(now.astimezone(UTC).date()))


def merge(system_id: int, samples: Block | Stream, *, replace: bool = False) -> Merged:
    """Merge samples into those stored, inside the caller's transaction.

    New instants are added, empty cells filled; a differing cell keeps the stored value unless
    ``replace``. One merge at a time works on a system; others wait until its transaction ends.
    A stream is written as it comes where nothing is stored between its first and last instant of
    any day; elsewhere its rows have to be met, as a block.
    """
    if not samples.time.size:
        return Merged()
    known = _begin(system_id, _Days(samples.time))
    if isinstance(samples, Stream):
        if not known:
            work = _Merge(system_id, samples.columns, replace=replace)
            work.append(samples.time, samples.pieces)
            return work.done
        samples = samples.block()
    return _merge_block(system_id, samples, known, replace=replace)


def _merge_block(system_id: int, block: Block, known: set[date], *, replace: bool) -> Merged:
    columns, codes = block.table()
    day_of_row = block.time.astype("datetime64[D]")
    work = _Merge(system_id, columns, replace=replace)
    new = ~np.isin(day_of_row, np.array(sorted(known), "datetime64[D]"))
    for day in sorted(known):
        low, high = np.searchsorted(day_of_row, np.array([day, day + timedelta(1)], "M8[D]"))
        new[low:high] = work.meet_day(block.time[low:high], codes[low:high])
    work.append(block.time[new], iter([codes[new]]))
    work.apply_changes()
    return work.done


class _Days:
    """UTC days of some instants, ascending: the first and last instant of each and their number."""

    def __init__(self, time: TimeArray) -> None:
        found, at, count = np.unique(
            time.astype("datetime64[D]"), return_index=True, return_counts=True
        )
        self.days: list[date] = found.tolist()
        self.first = [to_utc(time[first]) for first in at]
        self.last = [to_utc(time[last]) for last in at + count - 1]
        self.counts: list[int] = count.tolist()


def _begin(system_id: int, block: _Days) -> set[date]:
    """Take the lock of the system and see to partitions; days with rows in the block's span."""
    statement = statements.filled(
        "begin_merge",
        namespace=LOCK_NAMESPACE,
        system_id=system_id,
        days=block.days,
        first=block.first,
        last=block.last,
        partitions=sorted({partitions.name(partitions.week_of(day)) for day in block.days}),
    )
    with connection.cursor() as cursor:
        cursor.execute(statement)
        cursor.nextset()
        known, lacking = cursor.fetchone()
    if lacking:
        partitions.ensure(block.days)
    return set(known)


def _written(system_id: int, time: TimeArray, pieces: Iterator[Codes]) -> Iterator[Any]:
    """COPY data of rows piece by piece."""
    at = 0
    yield binary.HEADER
    for codes in pieces:
        yield binary.rows(time[at : at + len(codes)], codes, system_id=system_id)
        at += len(codes)
    if at != time.size:
        raise BlockError(f"{time.size} instants came with {at} rows of codes")
    yield binary.TRAILER


class _Merge:
    """One merge under way: meets the stored rows day by day, so that no span is too long."""

    def __init__(self, system_id: int, columns: tuple[str, ...], *, replace: bool) -> None:
        self.system_id, self.columns, self.replace = system_id, columns, replace
        self.done = Merged()
        self._changed: list[tuple[TimeArray, Codes]] = []

    def meet_day(self, time: TimeArray, codes: Codes) -> np.ndarray[Any, np.dtype[np.bool_]]:
        """Which rows of one day are new; the others are met, and noted where they change."""
        start, stop = to_utc(time[0]), to_utc(time[-1]) + RESOLUTION
        stored_time, stored = _fetch(self.system_id, self.columns, start, stop)
        met = meet(time, codes, stored_time, stored.T, replace=self.replace)
        self._count(met)
        self._list(met, time, codes)
        if met.changed.any():
            self._changed.append((time[met.changed], met.codes[met.changed]))
        return met.new

    def _count(self, met: Meeting) -> None:
        differing = int(met.differing.sum())
        self.done.cells_filled += int(met.filled.sum())
        self.done.cells_differing += differing
        self.done.cells_replaced += differing if self.replace else 0

    def _list(self, met: Meeting, time: TimeArray, codes: Codes) -> None:
        room = MAX_DIFFERENCES_LISTED - len(self.done.differing)
        for row, column in np.argwhere(met.differing)[:room]:
            self.done.differing.append(
                Difference(
                    to_utc(time[row]),
                    self.columns[column],
                    int(met.stored[row, column]),
                    int(codes[row, column]),
                )
            )

    def append(self, time: TimeArray, pieces: Iterator[Codes]) -> None:
        """Add rows whose instants are not stored; a piece is read while another is written."""
        if not time.size:
            return
        statement = statements.filled("append", columns=statements.column_list(self.columns))
        data = _written(self.system_id, time, pieces)
        with (
            connection.cursor() as cursor,
            cursor.copy(statement) as copy,
            ThreadPoolExecutor(1) as writer,
        ):
            under_way = writer.submit(copy.write, next(data))
            for each in data:
                # One at a time: what waits to be written must not pile up.
                under_way.result()
                under_way = writer.submit(copy.write, each)
            under_way.result()
        added = _Days(time)
        with connection.cursor() as cursor:
            cursor.execute(
                statements.plain("note_days"),
                [self.system_id, added.days, added.first, added.last, added.counts],
            )
        self.done.rows_new += int(time.size)
        self.done.changed_days |= set(added.days)

    def apply_changes(self) -> None:
        """Write the rows noted as changed."""
        if not self._changed:
            return
        time = np.concatenate([part for part, _ in self._changed])
        codes = np.concatenate([part for _, part in self._changed])
        self.done.changed_days |= {day.item() for day in np.unique(time.astype("datetime64[D]"))}
        assignments = sql.SQL(", ").join(
            sql.SQL("{0} = samples_changes.{0}").format(sql.Identifier(c)) for c in self.columns
        )
        with connection.cursor() as cursor:
            typed = statements.column_list(self.columns, after=" int2")
            cursor.execute(statements.filled("create_changes", columns=typed))
            names = statements.column_list(self.columns)
            with cursor.copy(statements.filled("load_changes", columns=names)) as copy:
                copy.write(binary.encode(time, codes))
            cursor.execute(
                statements.filled(
                    "apply_changes",
                    assignments=assignments,
                    system_id=self.system_id,
                    start=to_utc(time[0]),
                    stop=to_utc(time[-1]) + RESOLUTION,
                )
            )
            cursor.execute(statements.plain("drop_changes"))


def read(
    system: System, start: datetime, end: datetime, *, indoor: Collection[str] | None = None
) -> Samples:
    """The samples of ``system`` with start <= time < end, in the units inside.

    Rows of indoor arrays are the units of ``system.plant().indoor``. Channels without any value
    in the span are absent; so are those of the units that are not in ``indoor``, if it is given.
    """
    channels = [it for it in INDOOR if indoor is None or it.name in indoor]
    units = system.indoor_in_order() if channels else []
    of_units = [indoor_column(unit.slot, channel.name) for channel in channels for unit in units]
    columns = (*(channel.name for channel in OUTDOOR), *of_units)
    time, codes = _fetch(system.id, columns, start, end)
    outdoor_codes = codes[: len(OUTDOOR)]
    indoor_codes = codes[len(OUTDOOR) :].reshape(len(channels), len(units), time.size)
    outdoor_values = {c.name: c.decode(outdoor_codes[i]) for i, c in enumerate(OUTDOOR)}
    indoor_values = {c.name: c.decode(indoor_codes[i]) for i, c in enumerate(channels)}
    return Samples(time, outdoor_values, indoor_values).known()


def extent(system_id: int) -> tuple[datetime, datetime] | None:
    """First and last instant stored; None without samples."""
    with connection.cursor() as cursor:
        cursor.execute(statements.plain("extent"), [system_id])
        first, last = cursor.fetchone()
    return None if first is None else (first, last)


def days(system_id: int, *, among: Iterable[date] | None = None) -> set[date]:
    """UTC days that hold samples: all, or those among the given."""
    with connection.cursor() as cursor:
        if among is None:
            cursor.execute(statements.plain("all_days"), [system_id])
        else:
            cursor.execute(statements.plain("days_of"), [system_id, list(among)])
        return {row[0] for row in cursor.fetchall()}


def _fetch(
    system_id: int, columns: tuple[str, ...], start: datetime, stop: datetime
) -> tuple[TimeArray, Codes]:
    """Time, shape (n,), and codes, shape (columns, n)."""
    whole = statements.column_list(columns, before=", coalesce(", after=", '-32768'::int2)")
    statement = statements.filled(
        "span", columns=whole, system_id=system_id, start=start, stop=stop
    )
    with connection.cursor() as cursor, cursor.copy(statement) as copy:
        return binary.decode(b"".join(copy), len(columns))
