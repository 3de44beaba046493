"""Upstream subcooling against what the same system showed under the same conditions."""

from __future__ import annotations

import numpy as np

from diagnostics.findings.finding import Context, Finding, Measured, constant, seconds
from diagnostics.windows import Windows


def _measure(rows: Windows, context: Context) -> Measured:
    value = rows.column("subcooling_to_indoor_k")
    if context.baseline is None:
        nothing = constant(rows, np.nan)
        return Measured(value, nothing, nothing, constant(rows, 0.0))
    expected, sigma = context.baseline.predict(rows)
    return Measured(value, expected, sigma, seconds(rows, "to_indoor_s"))


FINDING = Finding(
    name="subcooling_change",
    title="Subcooling against the system's own past",
    phrase="subcooling {measured:.1f} K where its own past says {expected:.1f} K",
    unit="K",
    source="regression on the system's own normal days (Bishop 2006, eqs. 3.50 to 3.59)",
    settle="look up the charge and repair records since the days taken as normal",
    measure=_measure,
)
