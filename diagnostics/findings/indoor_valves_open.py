"""Indoor expansion valves near their stop although their rooms ask."""

from __future__ import annotations

from diagnostics.findings.finding import Context, Finding, Measured, constant, seconds
from diagnostics.windows import Windows

USUAL_SHARE = 0.45


def _measure(rows: Windows, _: Context) -> Measured:
    return Measured(
        value=rows.column("indoor_valve_share"),
        expected=constant(rows, USUAL_SHARE),
        sigma=constant(rows, 0.05),
        resting_s=seconds(rows, "high_demand_s"),
    )


FINDING = Finding(
    name="indoor_valves_open",
    title="Opening of the asking indoor units' valves",
    unit="1",
    source="common practice, no source",
    settle="compare valve openings and coil temperatures of near and far indoor units",
    measure=_measure,
)
