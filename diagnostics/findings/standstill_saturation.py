"""At standstill, saturation is near outdoor air."""

from __future__ import annotations

import numpy as np

from diagnostics.findings.finding import Context, Finding, Measured, constant, seconds
from diagnostics.windows import Windows


def _measure(rows: Windows, _: Context) -> Measured:
    both = np.column_stack(
        [rows.column("standstill_discharge_k"), rows.column("standstill_suction_k")]
    )
    magnitude = np.where(np.isfinite(both), np.abs(both), -1.0).max(axis=1)
    return Measured(
        value=np.where(magnitude < 0, np.nan, magnitude),
        expected=constant(rows, 0.0),
        sigma=constant(rows, 1.0),
        resting_s=seconds(rows, "standstill_s"),
    )


FINDING = Finding(
    name="standstill_saturation",
    title="Saturation temperature after a long standstill, away from outdoor air",
    phrase="{measured:.1f} K away from outdoor air at standstill",
    unit="K",
    source="equalised circuit near ambient: common practice, no source",
    settle="compare pressures and outdoor air with calibrated instruments at standstill",
    measure=_measure,
)
