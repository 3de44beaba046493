"""Results sample by sample as the table that is handed out."""

from __future__ import annotations

import numpy as np
import polars as pl

from diagnostics.analyse import SampleResults
from diagnostics.signals.state import STATE_NAMES

DIRECTIONS = ("to_outdoor", "undetermined", "to_indoor")
POINTS = ("indoor_side", None, "outdoor_side")
"""Where subcooling counts, the side the liquid comes from; by direction, -1 first."""

_NUMBERS = (
    "subcooling_k",
    "other_point_subcooling_k",
    "suction_superheat_k",
    "discharge_superheat_k",
    "liquid_flow_kg_s",
    "liquid_flow_low_kg_s",
    "liquid_flow_high_kg_s",
    "compressor_flow_kg_s",
)


def of(analysis: SampleResults) -> pl.DataFrame:
    """One row a sample in the contract's columns; null where it cannot be told."""
    way = analysis.direction.astype(np.int64) + 1
    hunting = pl.Series(analysis.hunting.astype(np.int8))
    return pl.DataFrame(
        {
            "time": pl.Series(analysis.time).cast(pl.Datetime("us", "UTC")),
            "operating_state": _names(STATE_NAMES, analysis.state.astype(np.int64)),
            "steady": pl.Series(analysis.steady.astype(np.int8)),
            "flow_direction": _names(DIRECTIONS, way),
            "subcooling_point": _names(POINTS, way),
            **{name: pl.Series(getattr(analysis, name)).fill_nan(None) for name in _NUMBERS},
            "hunting": pl.select(pl.when(hunting >= 0).then(hunting)).to_series(),
        }
    )


def to_csv(table: pl.DataFrame) -> str:
    """CSV with RFC 3339 times in UTC and empty cells for nulls."""
    return table.write_csv(datetime_format="%Y-%m-%dT%H:%M:%S%.fZ")


def _names(names: tuple[str | None, ...], index: np.ndarray) -> pl.Series:
    return pl.Series(names, dtype=pl.String).gather(index)
