"""Rows dated after they arrived: the logger's clock, or its zone, is wrong.

They are shown and never shifted, because nobody can tell by how much. A clock that is slow cannot
be told from an upload that comes late.
"""

from __future__ import annotations

from datetime import datetime, timedelta

import numpy as np

from fleet.ingest.parse import Reading
from fleet.instants import to_64, to_utc

TOLERANCE = timedelta(minutes=5)
"""What clocks that nobody sets may differ by."""


def check(reading: Reading, received_at: datetime) -> None:
    """Complain of rows dated later than the arrival, at the line of the latest."""
    latest_possible = to_64(received_at + TOLERANCE)
    early = int(np.count_nonzero(reading.time > latest_possible))
    if not early:
        return
    ahead = to_utc(reading.time[-1]) - received_at
    reading.report.complain(
        int(reading.lines[-1]),
        "time",
        f"{early} rows are dated after the upload arrived, this one by {said(ahead)}: the "
        "logger's clock or its time zone is wrong; times are kept as written",
    )


def said(span: timedelta) -> str:
    """A span in its two largest units."""
    minutes = round(span.total_seconds() / 60)
    days, hours, minutes = minutes // 1440, minutes // 60 % 24, minutes % 60
    parts = [(days, "d"), (hours, "h"), (minutes, "min")]
    first = next((at for at, (count, _) in enumerate(parts) if count), 2)
    return " ".join(f"{count} {unit}" for count, unit in parts[first : first + 2] if count)
