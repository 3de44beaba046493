"""PostgreSQL's binary COPY format, written and read by numpy as fixed-width records.

The layout is that of the PostgreSQL manual, chapter COPY, "Binary Format": a header of 19 bytes,
then for each row the number of fields and for each field its length and its bytes, big-endian;
a field count of -1 ends it. Records are of fixed width only because no field is ever NULL.
"""

from __future__ import annotations

import numpy as np

from diagnostics.samples import TimeArray
from fleet.timeseries.block import Codes

HEADER = b"PGCOPY\n\xff\r\n\0" + bytes(8)
TRAILER = b"\xff\xff"
EPOCH = np.datetime64("2000-01-01T00:00:00", "us")
"""PostgreSQL counts microseconds from here."""

CELL = np.dtype([("length", ">i4"), ("code", ">i2")])


def _record(columns: int, *, system: bool) -> np.dtype[np.void]:
    fields = [("fields", ">i2")]
    if system:
        fields += [("system_length", ">i4"), ("system", ">i4")]
    fields += [("time_length", ">i4"), ("time", ">i8")]
    return np.dtype([*fields, ("cells", CELL, (columns,))])


def encode(time: TimeArray, codes: Codes) -> bytes:
    """COPY data of rows (time, codes...); codes has shape (n, columns)."""
    return b"".join((HEADER, rows(time, codes), TRAILER))


def rows(time: TimeArray, codes: Codes, *, system_id: int | None = None) -> memoryview:
    """COPY data between header and trailer of rows (system_id if given, time, codes...).

    So that rows can follow rows; codes has shape (n, columns).
    """
    columns = codes.shape[1]
    one = np.zeros(1, _record(columns, system=system_id is not None))
    one["fields"] = columns + (1 if system_id is None else 2)
    if system_id is not None:
        one["system_length"] = 4
        one["system"] = system_id
    one["time_length"] = 8
    one["cells"]["length"] = 2
    # Repeating a record costs an eighth of writing the lengths into each.
    record = np.repeat(one, time.size)
    record["time"] = (time - EPOCH).astype(np.int64)
    record["cells"]["code"] = codes
    return record.view(np.uint8).data


def decode(data: bytes, columns: int) -> tuple[TimeArray, Codes]:
    """Time, shape (n,), and codes, shape (columns, n), of COPY data of rows (time, codes...).

    Raises ValueError if the data is not whole: a NULL, or a column too many.
    """
    record = _record(columns, system=False)
    size = len(data) - len(HEADER) - len(TRAILER)
    if size < 0 or size % record.itemsize or not data.endswith(TRAILER):
        raise ValueError(f"{len(data)} bytes are no whole COPY of {columns} columns without NULL")
    found = np.frombuffer(data, record, size // record.itemsize, offset=len(HEADER))
    time = EPOCH + found["time"].astype(np.int64).astype("timedelta64[us]")
    return time, np.ascontiguousarray(found["cells"]["code"].T, dtype=np.int16)
