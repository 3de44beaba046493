"""The subcooler's valve never rests, seen at any logging interval."""

from __future__ import annotations

from diagnostics.findings.finding import Context, Finding, Measured, constant, seconds
from diagnostics.windows import Windows

USUAL_SHARE = 0.04


def _measure(rows: Windows, _: Context) -> Measured:
    return Measured(
        value=rows.column("restlessness"),
        expected=constant(rows, USUAL_SHARE),
        sigma=constant(rows, 0.01),
        resting_s=seconds(rows, "restless_s"),
    )


FINDING = Finding(
    name="restless_valve",
    title="Change of the subcooler valve's opening from reading to reading",
    phrase="subcooler valve moves by {measured:.0%} from reading to reading",
    unit="1",
    source="common practice, no source; shows hunting where logging is too slow for its period",
    settle="watch the valve's opening for ten minutes at high demand",
    measure=_measure,
)
