"""What the event's plot shows, in the reader's units: arrays only, from wherever they came."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from diagnostics.samples import FloatArray, TimeArray


@dataclass(frozen=True)
class EventSeries:
    """Per-sample arrays of one span, all of shape (n,); NaN = not to be told.

    time: UTC. offset_s: seconds the site's clock is ahead of UTC, one value for the whole span so
    that the axis runs evenly. local_span_ms, peak_local_ms: on that clock, as ``local_ms``.
    direction: +1 to indoor, -1 to outdoor, 0 undetermined.
    hunting: 1 hunts, 0 does not, -1 cannot be judged. values: by the names charts.py draws.
    """

    time: TimeArray
    offset_s: int
    clock: str
    local_span_ms: tuple[int, int]
    peak_local_ms: int
    state: NDArray[np.int8]
    state_names: tuple[str, ...]
    direction: NDArray[np.int8]
    hunting: NDArray[np.int8]
    values: Mapping[str, FloatArray]
    temperature_unit: str
    difference_unit: str
    pressure_unit: str

    def __len__(self) -> int:
        """Number of instants."""
        return int(self.time.size)

    def local_ms(self) -> NDArray[np.int64]:
        """Milliseconds on the site's clock, as a plot's date axis counts them, shape (n,)."""
        utc_ms = self.time.astype("datetime64[ms]").astype(np.int64)
        return utc_ms + 1000 * self.offset_s
