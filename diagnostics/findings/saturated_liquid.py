"""Flash gas: liquid at saturation before the subcooler."""

from __future__ import annotations

from diagnostics.findings.finding import Context, Finding, Measured, constant, seconds
from diagnostics.windows import Windows


def _measure(rows: Windows, _: Context) -> Measured:
    return Measured(
        value=rows.column("saturated_share"),
        expected=constant(rows, 0.0),
        sigma=constant(rows, 0.03),
        resting_s=seconds(rows, "to_indoor_s"),
    )


FINDING = Finding(
    name="saturated_liquid",
    title="Share of steady cooling with no subcooling left",
    phrase="flash gas in {measured:.0%} of steady cooling",
    unit="1",
    source="subcooling at or below zero within its uncertainty means two-phase liquid",
    settle="listen and look for bubbles at the sight glass, where there is one, in steady cooling",
    measure=_measure,
)
