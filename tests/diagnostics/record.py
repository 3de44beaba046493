"""Small hand-made samples for the tests of the first stages."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from diagnostics.channels import CALLS
from diagnostics.channels import STATES as REPORTED
from diagnostics.plant import IndoorUnit, Plant, Refrigerant
from diagnostics.samples import FloatArray, Samples

START = np.datetime64("2026-01-05T00:00:00", "us")


def celsius(value: FloatArray | float) -> FloatArray:
    """degC to K."""
    return np.asarray(value, dtype=float) + 273.15


def fahrenheit(value: float) -> float:
    """degF to K."""
    return (value + 459.67) / 1.8


def instants(seconds: FloatArray) -> np.ndarray:
    """Time stamps, microseconds, UTC."""
    return START + np.round(np.asarray(seconds, dtype=float) * 1e6).astype("timedelta64[us]")


def plant(
    refrigerant: Refrigerant = Refrigerant.R410A,
    elevations: tuple[float | None, ...] = (None, None),
) -> Plant:
    """A system of one 5.6 kW indoor unit per elevation."""
    units = tuple(IndoorUnit(f"A-{i}", 5600.0, elevation_m=z) for i, z in enumerate(elevations))
    return Plant(refrigerant, 45e3, 82e-6, 110.0, 480.0, units)


def call(*names: str) -> FloatArray:
    """Codes of the CALL channel."""
    return np.array([CALLS.index(name) for name in names], dtype=float)


def reported(*names: str) -> FloatArray:
    """Codes of the reported_state channel; an empty name is a missing value."""
    return np.array([REPORTED.index(name) if name else np.nan for name in names], dtype=float)


def running(
    n: int,
    interval_s: float = 10.0,
    outdoor: Mapping[str, FloatArray | float] | None = None,
    indoor: Mapping[str, FloatArray] | None = None,
) -> Samples:
    """A steady running system: 60 rev/s, 2.5 and 0.8 MPa, valve 40 % open, unless given."""
    usual: dict[str, FloatArray | float] = {
        "compressor_speed": 60.0,
        "discharge_pressure": 2.5e6,
        "suction_pressure": 0.8e6,
        "subcooler_valve": 0.4,
    }
    columns = {name: np.full(n, value) for name, value in (usual | dict(outdoor or {})).items()}
    return Samples(instants(np.arange(n) * interval_s), columns, dict(indoor or {}))
