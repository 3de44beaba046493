"""Liquid hotter than its saturation temperature cannot be."""

from __future__ import annotations

import numpy as np

from diagnostics.findings.finding import Context, Finding, Measured, constant, seconds
from diagnostics.windows import Windows


def _measure(rows: Windows, _: Context) -> Measured:
    return Measured(
        value=np.maximum(rows.column("above_saturation_k"), 0.0),
        expected=constant(rows, 0.0),
        sigma=constant(rows, 0.3),
        resting_s=seconds(rows, "to_indoor_s"),
    )


FINDING = Finding(
    name="above_saturation",
    title="Liquid hotter than saturation, beyond uncertainty",
    phrase="liquid {measured:.1f} K hotter than saturation",
    unit="K",
    source="thermodynamics: liquid exists at or below its bubble point",
    settle="compare the liquid thermistor and the discharge transducer with calibrated ones",
    measure=_measure,
)
