"""Between Django's aware datetimes and the UTC datetime64 of ``diagnostics``."""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta, tzinfo

import numpy as np

DAY = timedelta(days=1)
RESOLUTION = timedelta(microseconds=1)


def to_64(moment: datetime) -> np.datetime64:
    """An aware datetime as UTC datetime64[us]."""
    return np.datetime64(moment.astimezone(UTC).replace(tzinfo=None), "us")


def to_utc(moment: np.datetime64) -> datetime:
    """A UTC datetime64 as an aware datetime."""
    naive: datetime = moment.astype("datetime64[us]").item()
    return naive.replace(tzinfo=UTC)


def midnight(day: date, zone: tzinfo = UTC) -> datetime:
    """The first instant of a day on some clock, in UTC."""
    return datetime.combine(day, time(), zone).astimezone(UTC)
