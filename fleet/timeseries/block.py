"""Samples on their way into the store, and what became of them."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import date, datetime

import numpy as np
from numpy.typing import NDArray

from diagnostics.channels import EMPTY
from diagnostics.samples import TimeArray
from fleet.timeseries.columns import IndoorKey, indoor_column

Codes = NDArray[np.int16]
MAX_DIFFERENCES_LISTED = 100


class BlockError(ValueError):
    """The arrays of a block do not belong together: sort its time and give equal lengths."""


@dataclass(frozen=True, eq=False)
class Block:
    """Codes of one system at some instants (see ``diagnostics.channels`` for codes).

    time: datetime64[us], UTC, strictly ascending, shape (n,).
    outdoor: channel name -> codes, shape (n,).
    indoor: (slot, channel name) -> codes, shape (n,).
    Raises BlockError: time not strictly ascending, or a column of another length.
    """

    time: TimeArray
    outdoor: Mapping[str, Codes]
    indoor: Mapping[IndoorKey, Codes]

    def __post_init__(self) -> None:
        """Refuse arrays that do not belong together."""
        if self.time.size > 1 and not np.all(np.diff(self.time) > np.timedelta64(0)):
            raise BlockError("time must be strictly ascending: sort it and merge repeats")
        for key, codes in (*self.outdoor.items(), *self.indoor.items()):
            if codes.shape != self.time.shape:
                raise BlockError(f"{key}: shape {codes.shape}, time has {self.time.shape}")

    def table(self) -> tuple[tuple[str, ...], Codes]:
        """Names of the columns that hold any value, and their codes, shape (n, columns)."""
        found = dict(self.outdoor) | {indoor_column(*key): c for key, c in self.indoor.items()}
        used = {name: codes for name, codes in found.items() if (codes != EMPTY).any()}
        if not used:
            return (), np.empty((self.time.size, 0), np.int16)
        return tuple(used), np.column_stack(list(used.values()))


@dataclass(frozen=True, eq=False)
class Stream:
    """Samples that are read while earlier ones are written.

    time: as of a block, all of it, shape (n,).
    columns: names, as in ``timeseries.columns``, of those that may hold any value.
    pieces: codes of consecutive rows, shape (r, columns) each; read once.
    block: the same at once, for rows that have to meet stored ones; instead of ``pieces``.
    """

    time: TimeArray
    columns: tuple[str, ...]
    pieces: Iterator[Codes]
    block: Callable[[], Block]


@dataclass(frozen=True)
class Difference:
    """A cell whose given code is not the stored one. ``column`` as in ``timeseries.columns``."""

    time: datetime
    column: str
    stored: int
    given: int


@dataclass
class Merged:
    """What a merge did. ``differing`` lists the first 100, by time; ``changed_days`` are UTC."""

    rows_new: int = 0
    cells_filled: int = 0
    cells_differing: int = 0
    cells_replaced: int = 0
    differing: list[Difference] = field(default_factory=list)
    changed_days: set[date] = field(default_factory=set)
