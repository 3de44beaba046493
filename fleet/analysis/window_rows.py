"""Window rows in and out of the database by binary COPY, as numpy records.

A system has some five thousand rows of sixty numbers; as Python floats they would cost seconds
where these records cost milliseconds.
"""

from __future__ import annotations

from datetime import date, datetime
from typing import Any

import numpy as np
from django.db import connection
from numpy.typing import NDArray
from psycopg import sql

from diagnostics.analyse import METHOD_VERSION
from diagnostics.windows import FEATURES, Windows
from fleet.analysis import day_rows
from fleet.instants import DAY, midnight, to_64
from fleet.models import Window
from fleet.timeseries.binary import EPOCH, HEADER, TRAILER

FLOAT8_OID = 701

_ARRAY = [
    ("array_size", ">i4"),
    ("dimensions", ">i4"),
    ("has_null", ">i4"),
    ("element", ">i4"),
    ("length", ">i4"),
    ("lower", ">i4"),
    ("features", [("size", ">i4"), ("value", ">f8")], (len(FEATURES),)),
]
_START = [("start_size", ">i4"), ("start", ">i8")]
READ_ROW = np.dtype([("fields", ">i2"), *_START, *_ARRAY])
WRITE_ROW = np.dtype(
    [
        ("fields", ">i2"),
        ("system_size", ">i4"),
        ("system", ">i8"),
        *_START,
        ("version_size", ">i4"),
        ("version", ">i4"),
        *_ARRAY,
    ]
)


LOAD = """
COPY (
    SELECT start, features FROM fleet_window
    WHERE system_id = {system_id} AND method_version = {version}
      AND start >= {since} AND start <= {until}::timestamptz - interval '15 minutes'
    ORDER BY start
) TO STDOUT (FORMAT BINARY)
"""
WRITE = """
COPY fleet_window (system_id, start, method_version, features) FROM STDIN (FORMAT BINARY)
"""


class StoredWindowsError(RuntimeError):
    """Stored window rows do not fit FEATURES: raise METHOD_VERSION with every change of them."""


def load(system_id: int, before: datetime | None = None, since: datetime | None = None) -> Windows:
    """Windows of a system under the present method, by default all.

    before: those that ended by then. since: those that start then or later.

    Raises StoredWindowsError.
    """
    until = "infinity" if before is None else before.isoformat()
    begin = "-infinity" if since is None else since.isoformat()
    # Filled in here: a cursor that logs its queries takes no parameters with COPY.
    query = sql.SQL(LOAD).format(
        system_id=system_id, version=METHOD_VERSION, since=begin, until=until
    )
    with connection.cursor() as cursor, cursor.copy(query) as copy:
        data = b"".join(copy)
    return unpack(data)


def replace_day(system_id: int, day: date, windows: Windows) -> int:
    """Put ``windows`` in the place of all rows of a UTC day; the number of rows written.

    The pooled day follows. Runs in the caller's transaction. Rows that start outside the day are
    left out.
    """
    start = midnight(day)
    of_day = windows.between(to_64(start), to_64(start + DAY))
    Window.objects.filter(system_id=system_id, start__gte=start, start__lt=start + DAY).delete()
    with connection.cursor() as cursor, cursor.copy(WRITE) as copy:
        copy.write(pack(system_id, of_day))
    day_rows.replace(system_id, day, of_day)
    return len(of_day)


def pack(system_id: int, windows: Windows) -> bytes:
    """The rows as a binary COPY stream."""
    rows: NDArray[Any] = np.zeros(len(windows), WRITE_ROW)
    rows["fields"] = 4
    rows["system_size"], rows["system"] = 8, system_id
    rows["start_size"] = 8
    rows["start"] = (windows.start - EPOCH).astype("timedelta64[us]").astype(np.int64)
    rows["version_size"], rows["version"] = 4, METHOD_VERSION
    rows["array_size"] = 20 + 12 * len(FEATURES)
    rows["dimensions"], rows["element"] = 1, FLOAT8_OID
    rows["length"], rows["lower"] = len(FEATURES), 1
    rows["features"]["size"], rows["features"]["value"] = 8, windows.features
    return HEADER + rows.tobytes() + TRAILER


def unpack(data: bytes) -> Windows:
    """The windows of a binary COPY stream of (start, features). Raises StoredWindowsError."""
    body = memoryview(data)[len(HEADER) : len(data) - len(TRAILER)]
    if len(body) % READ_ROW.itemsize:
        raise StoredWindowsError(StoredWindowsError.__doc__)
    rows = np.frombuffer(body, READ_ROW)
    if np.any(rows["length"] != len(FEATURES)):
        raise StoredWindowsError(StoredWindowsError.__doc__)
    start = EPOCH + rows["start"].astype(np.int64).astype("timedelta64[us]")
    return Windows(start, rows["features"]["value"].astype(np.float64))
