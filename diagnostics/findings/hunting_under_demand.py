"""The subcooler's valve hunts although the system has plenty to do."""

from __future__ import annotations

from diagnostics.findings.finding import Context, Finding, Measured, constant, seconds
from diagnostics.windows import Windows


def _measure(rows: Windows, _: Context) -> Measured:
    return Measured(
        value=rows.column("hunting_high_demand"),
        expected=constant(rows, 0.0),
        sigma=constant(rows, 0.05),
        resting_s=seconds(rows, "hunting_demand_s"),
    )


FINDING = Finding(
    name="hunting_under_demand",
    title="Share of high-demand time in which the subcooler's valve hunts",
    phrase="subcooler valve hunts in {measured:.0%} of high-demand time",
    unit="1",
    source="regularity after Thornhill, Huang and Zhang 2003; meaning: common practice, no source",
    settle="watch the valve's opening and the leaving liquid's temperature for ten minutes at "
    "high demand",
    measure=_measure,
)
