"""The subcooler's valve never rests, seen at any logging interval."""

from __future__ import annotations

from diagnostics.findings.finding import Context, Finding, Measured, constant, seconds
from diagnostics.windows import Windows

USUAL_SHARE = 0.03


def _measure(rows: Windows, _: Context) -> Measured:
    return Measured(
        value=rows.column("restlessness"),
        expected=constant(rows, USUAL_SHARE),
        sigma=constant(rows, 0.01),
        resting_s=seconds(rows, "restless_s"),
    )


FINDING = Finding(
    name="restless_valve",
    title="Share of readings in which the subcooler's valve has moved",
    phrase="subcooler valve has moved in {measured:.0%} of the readings",
    unit="1",
    source="common practice, no source; shows hunting where logging is too slow for its period",
    settle="watch the valve's opening for ten minutes at high demand",
    measure=_measure,
)
