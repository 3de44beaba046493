"""Samples and windows as tables that are handed out: one row an instant, units in the titles.

The titles and units of samples are those of uploads, so that what was exported can be taken in.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime

import numpy as np
import polars as pl

from diagnostics.channels import INDOOR, OUTDOOR, Channel, Quantity
from diagnostics.samples import FloatArray, TimeArray
from diagnostics.windows import FEATURES, Windows
from fleet.models import System
from fleet.timeseries import store

FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r")
"""What makes a spreadsheet take a cell for a formula (OWASP, CSV injection)."""

_SHOWN = {
    Quantity.TEMPERATURE: (" [degC]", 1.0, -273.15, 3),
    Quantity.PRESSURE: (" [kPa(a)]", 1e-3, 0.0, 3),
    Quantity.SPEED: (" [rps]", 1.0, 0.0, 3),
    Quantity.OPENING: (" [%]", 100.0, 0.0, 4),
    Quantity.FLAG: ("", 1.0, 0.0, 0),
}
"""Unit in the title, factor and shift from the unit inside, digits finer than the quantum."""


def samples(system: System, start: datetime, end: datetime) -> pl.DataFrame:
    """Stored samples with start <= time < end; columns without any value are left out."""
    found = store.read(system, start, end)
    columns: dict[str, pl.Series] = {"time": _time(found.time)}
    for channel in OUTDOOR:
        if channel.name in found.outdoor:
            columns |= dict(_column(channel, found.outdoor[channel.name], ""))
    codes = [unit.code for unit in system.indoor_in_order()]
    for channel in INDOOR:
        for code, values in zip(codes, found.indoor.get(channel.name, ()), strict=False):
            if np.isfinite(values).any():
                columns |= dict(_column(channel, values, f"{code}/"))
    return pl.DataFrame(columns)


def windows(rows: Windows) -> pl.DataFrame:
    """Window rows with every feature; its unit is in the title."""
    columns = {"start": _time(rows.start)}
    for feature in FEATURES:
        unit = "" if feature.unit == "1" else f" [{feature.unit}]"
        columns[f"{feature.name}{unit}"] = pl.Series(rows.column(feature.name)).fill_nan(None)
    return pl.DataFrame(columns)


def harmless(table: pl.DataFrame) -> pl.DataFrame:
    """The table with an apostrophe before every text a spreadsheet would run as a formula."""
    texts = [name for name, kind in table.schema.items() if kind == pl.String]
    pattern = r"^[=+\-@\t\r]"
    escaped = [
        pl.when(pl.col(name).str.contains(pattern)).then("'" + pl.col(name)).otherwise(pl.col(name))
        for name in texts
    ]
    table = table.with_columns(
        [it.alias(name) for it, name in zip(escaped, texts, strict=True)] if texts else []
    )
    return table.rename({it: f"'{it}" for it in table.columns if it.startswith(FORMULA_STARTS)})


def _time(time: TimeArray) -> pl.Series:
    return pl.Series(time.astype("datetime64[us]")).cast(pl.Datetime("us", "UTC"))


def _column(channel: Channel, values: FloatArray, prefix: str) -> Iterator[tuple[str, pl.Series]]:
    if channel.quantity is Quantity.CHOICE:
        known = np.isfinite(values)
        index = pl.Series(np.where(known, values, 0).astype(np.int64))
        words = pl.Series(channel.choices, dtype=pl.String).gather(index)
        shown = pl.select(pl.when(pl.Series(known)).then(words)).to_series()
        yield f"{prefix}{channel.name}", shown
        return
    unit, factor, shift, digits = _SHOWN[channel.quantity]
    scaled = pl.Series(np.round(values * factor + shift, digits)).fill_nan(None)
    whole = channel.quantity is Quantity.FLAG
    yield f"{prefix}{channel.name}{unit}", scaled.cast(pl.Int8) if whole else scaled
