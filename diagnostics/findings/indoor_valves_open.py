"""Indoor expansion valves near their stop although their rooms ask."""

from __future__ import annotations

import numpy as np

from diagnostics.findings.finding import Context, Finding, Measured, constant, seconds
from diagnostics.windows import Windows

USUAL_SHARE = 0.37


def _measure(rows: Windows, _: Context) -> Measured:
    return Measured(
        value=np.minimum(rows.column("indoor_valve_share"), 1.0),
        expected=constant(rows, USUAL_SHARE),
        sigma=constant(rows, 0.05),
        resting_s=seconds(rows, "high_demand_s"),
    )


FINDING = Finding(
    name="indoor_valves_open",
    title="Opening of the asking indoor units' valves",
    phrase="indoor valves {measured:.0%} open, usual {expected:.0%}",
    unit="1",
    source="common practice, no source",
    settle="compare valve openings and coil temperatures of near and far indoor units",
    measure=_measure,
)
