"""Upstream subcooling in heating: liquid comes from the indoor units."""

from __future__ import annotations

import numpy as np

from diagnostics import expectation
from diagnostics.findings.finding import Context, Finding, Measured, seconds
from diagnostics.windows import Windows


def _measure(rows: Windows, _: Context) -> Measured:
    return Measured(
        value=rows.column("subcooling_to_outdoor_k"),
        expected=expectation.usual_heating_k(rows),
        sigma=np.nan_to_num(rows.column("sigma_to_outdoor_k"), nan=1.0),
        resting_s=seconds(rows, "to_outdoor_s"),
    )


FINDING = Finding(
    name="heating_subcooling",
    title="Subcooling where the liquid comes from (heating)",
    phrase="subcooling in heating {measured:.1f} K, usual {expected:.0f} K",
    unit="K",
    source="common practice, no source; taken against condensing saturation",
    settle="clamp a thermometer on the liquid line between subcooler and building and read the "
    "discharge pressure in steady heating",
    measure=_measure,
)
