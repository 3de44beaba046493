"""The arrays of one system over a span of time."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from diagnostics.channels import INDOOR_BY_NAME, OUTDOOR_BY_NAME

FloatArray = NDArray[np.float64]
TimeArray = NDArray[np.datetime64]


class SamplesError(ValueError):
    """The arrays do not describe one system over one ascending span of time."""


@dataclass(frozen=True)
class Samples:
    """Logged values of one system, SI units (K, Pa absolute, rev/s, fraction), NaN = missing.

    time: datetime64[us], UTC, strictly ascending, shape (n,).
    outdoor: channel name -> shape (n,). A channel that was never logged is absent.
    indoor: channel name -> shape (n_units, n), rows in the order of ``Plant.indoor``.
    CHOICE channels hold the index into ``Channel.choices``.
    """

    time: TimeArray
    outdoor: Mapping[str, FloatArray]
    indoor: Mapping[str, FloatArray]

    def __post_init__(self) -> None:
        """Refuse arrays that do not belong together.

        Raises SamplesError: unknown channel, wrong shape, time not strictly ascending.
        """
        n = self.time.size
        if n > 1 and not np.all(np.diff(self.time) > np.timedelta64(0)):
            raise SamplesError("time must be strictly ascending: sort it and drop repeats")
        for name, values in self.outdoor.items():
            if name not in OUTDOOR_BY_NAME:
                raise SamplesError(f"{name!r} is no outdoor channel; see diagnostics.channels")
            if values.shape != (n,):
                raise SamplesError(f"{name}: shape {values.shape}, expected ({n},) as time has")
        for name, values in self.indoor.items():
            if name not in INDOOR_BY_NAME:
                raise SamplesError(f"{name!r} is no indoor channel; see diagnostics.channels")
            if values.ndim != 2 or values.shape[1] != n:
                raise SamplesError(f"{name}: shape {values.shape}, expected (units, {n})")

    def __len__(self) -> int:
        """Number of instants."""
        return int(self.time.size)

    def seconds(self) -> FloatArray:
        """Seconds since the first sample, shape (n,)."""
        if not len(self):
            return np.zeros(0)
        return np.asarray((self.time - self.time[0]) / np.timedelta64(1, "s"))

    def outdoor_or_nan(self, name: str) -> FloatArray:
        """An outdoor channel, all NaN where it was never logged, shape (n,)."""
        values = self.outdoor.get(name)
        return np.full(len(self), np.nan) if values is None else values

    def indoor_or_nan(self, name: str, n_units: int) -> FloatArray:
        """An indoor channel, all NaN where it was never logged, shape (n_units, n)."""
        values = self.indoor.get(name)
        return np.full((n_units, len(self)), np.nan) if values is None else values

    def known(self) -> Samples:
        """The same without channels that hold no value."""
        outdoor, indoor = (
            {name: values for name, values in channels.items() if not np.isnan(values).all()}
            for channels in (self.outdoor, self.indoor)
        )
        return Samples(self.time, outdoor, indoor)

    def between(self, start: np.datetime64, end: np.datetime64) -> Samples:
        """The samples with start <= time < end."""
        low, high = np.searchsorted(self.time, np.array([start, end], dtype=self.time.dtype))
        cut = slice(int(low), int(high))
        return Samples(
            self.time[cut],
            {name: values[cut] for name, values in self.outdoor.items()},
            {name: values[:, cut] for name, values in self.indoor.items()},
        )
