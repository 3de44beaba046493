"""Does a closed subcooler valve leave the liquid alone?"""

from __future__ import annotations

import numpy as np

from diagnostics.findings.finding import Context, Finding, Measured, constant, seconds
from diagnostics.windows import Windows


def _measure(rows: Windows, _: Context) -> Measured:
    return Measured(
        value=rows.column("drop_closed_k"),
        expected=constant(rows, 0.0),
        sigma=np.hypot(np.nan_to_num(rows.column("leak_sigma_k"), nan=0.5), 0.3),
        resting_s=seconds(rows, "closed_s"),
    )


FINDING = Finding(
    name="subcooler_effect_closed",
    title="Subcooler's effect with its valve commanded closed",
    phrase="closed subcooler valve still cools by {measured:.1f} K",
    unit="K",
    source="a closed valve passes nothing: the two liquid temperatures meet",
    settle="clamp both liquid lines at the subcooler with its valve commanded closed",
    measure=_measure,
)
