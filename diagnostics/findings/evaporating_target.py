"""Evaporating temperature below its target in cooling.

Above the target the compressor is overloaded or limited, which says nothing of the charge.
"""

from __future__ import annotations

import numpy as np

from diagnostics.findings.finding import Context, Finding, Measured, constant, seconds
from diagnostics.windows import Windows


def _measure(rows: Windows, _: Context) -> Measured:
    return Measured(
        value=np.minimum(rows.column("evaporating_error_k"), 0.0),
        expected=constant(rows, 0.0),
        sigma=constant(rows, 0.5),
        resting_s=seconds(rows, "cooling_s"),
    )


FINDING = Finding(
    name="evaporating_target",
    title="Evaporating temperature less its target (0: attained or above)",
    phrase="evaporating {measured:+.1f} K from its target",
    unit="K",
    source="the controller's own target, as logged",
    settle="compare suction pressure with the target shown by the outdoor unit in steady cooling",
    measure=_measure,
)
