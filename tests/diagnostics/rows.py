"""Window rows made by hand."""

from __future__ import annotations

import numpy as np

from diagnostics.plant import IndoorUnit, Plant, Refrigerant
from diagnostics.windows import FEATURES, INDEX, WINDOW_S, Windows

START = np.datetime64("2026-03-02T00:00:00", "us")

HEALTHY = {
    "logged_s": 900.0,
    "running_s": 900.0,
    "judged_s": 900.0,
    "to_indoor_s": 800.0,
    "steady_s": 800.0,
    "loaded_s": 800.0,
    "cooling_s": 800.0,
    "asking_s": 900.0,
    "subcooling_to_indoor_k": 5.0,
    "other_to_indoor_k": 14.0,
    "sigma_to_indoor_k": 0.7,
    "saturated_share": 0.0,
    "load_to_indoor": 0.5,
    "air_to_indoor_k": 300.0,
    "suction_superheat_k": 5.0,
    "discharge_superheat_k": 30.0,
    "pressure_ratio": 2.75,
    "evaporating_error_k": 0.0,
    "shortfall_k": 0.1,
    "pure_s": 800.0,
    "contradiction": -4.0,
    "tracking_s": 800.0,
    "outdoor_side_tracks_air": 0.0,
    "indoor_side_tracks_air": 0.0,
    "condensing_over_coil_k": 3.2,
    "evaporating_under_pipe_k": -0.7,
}


def plant() -> Plant:
    """A small R-410A system."""
    return Plant(
        refrigerant=Refrigerant.R410A,
        cooling_capacity_w=28_000.0,
        compressor_displacement_m3=60e-6,
        compressor_max_speed_rps=110.0,
        subcooler_valve_full_pulses=480.0,
        indoor=(IndoorUnit("A-1", 14_000.0), IndoorUnit("A-2", 14_000.0)),
    )


def windows(count: int, first: int = 0, **features: float) -> Windows:
    """``count`` like windows of a healthy cooling day, with the named features changed."""
    table = np.full((count, len(FEATURES)), np.nan)
    for name, value in (HEALTHY | features).items():
        table[:, INDEX[name]] = value
    steps = (first + np.arange(count)) * np.timedelta64(WINDOW_S, "s")
    return Windows(START + steps, table)


def joined(*parts: Windows) -> Windows:
    """Rows one after the other."""
    return Windows(
        np.concatenate([part.start for part in parts]),
        np.concatenate([part.features for part in parts]),
    )
