"""Discharge gas colder than condensing cannot be while running."""

from __future__ import annotations

import numpy as np

from diagnostics.findings.finding import Context, Finding, Measured, constant, seconds
from diagnostics.windows import Windows


def _measure(rows: Windows, _: Context) -> Measured:
    return Measured(
        value=np.maximum(rows.column("discharge_below_k"), 0.0),
        expected=constant(rows, 0.0),
        sigma=constant(rows, 0.5),
        resting_s=seconds(rows, "steady_s"),
    )


FINDING = Finding(
    name="discharge_thermistor",
    title="Discharge gas colder than its condensing temperature",
    phrase="discharge gas {measured:.1f} K colder than condensing",
    unit="K",
    source="thermodynamics: a running compressor discharges at or above saturation",
    settle="check the discharge thermistor's seat and compare it with a calibrated one",
    measure=_measure,
)
