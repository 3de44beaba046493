"""Upstream subcooling in cooling, against the range usual in the trade."""

from __future__ import annotations

import numpy as np

from diagnostics import expectation
from diagnostics.findings.finding import Context, Finding, Measured, seconds
from diagnostics.windows import Windows


def _measure(rows: Windows, _: Context) -> Measured:
    return Measured(
        value=rows.column("subcooling_to_indoor_k"),
        expected=expectation.usual_cooling_k(rows),
        sigma=np.nan_to_num(rows.column("sigma_to_indoor_k"), nan=1.0),
        resting_s=seconds(rows, "to_indoor_s"),
    )


FINDING = Finding(
    name="upstream_subcooling",
    title="Subcooling where the liquid comes from (cooling)",
    phrase="subcooling before the subcooler {measured:.1f} K, usual {expected:.0f} K",
    unit="K",
    source="usual range 2 to 8 K: common practice, no source; load and mixed operation move it",
    settle="clamp a thermometer on the liquid line between outdoor coil and subcooler and read "
    "the discharge pressure in steady cooling",
    measure=_measure,
)
