"""A reading that stands still while everything else moves."""

from __future__ import annotations

from diagnostics.findings.finding import Context, Finding, Measured, constant, seconds
from diagnostics.windows import Windows


def _measure(rows: Windows, _: Context) -> Measured:
    return Measured(
        value=rows.column("frozen_share"),
        expected=constant(rows, 0.0),
        sigma=constant(rows, 0.05),
        resting_s=seconds(rows, "running_s"),
    )


FINDING = Finding(
    name="frozen_reading",
    title="Share of the running time in which some reading stands still",
    phrase="a reading stands still in {measured:.0%} of the running time",
    unit="1",
    source="common practice, no source",
    settle="compare the flat channel with a reading taken on site",
    measure=_measure,
)
