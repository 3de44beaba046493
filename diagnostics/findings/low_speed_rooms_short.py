"""The compressor idles along although much is asked, rooms are short and targets are met."""

from __future__ import annotations

from diagnostics.findings.finding import Context, Finding, Measured, constant, seconds
from diagnostics.windows import Windows

USUAL_SHARE = 0.8


def _measure(rows: Windows, _: Context) -> Measured:
    return Measured(
        value=rows.column("speed_short"),
        expected=constant(rows, USUAL_SHARE),
        sigma=constant(rows, 0.05),
        resting_s=seconds(rows, "short_s"),
    )


FINDING = Finding(
    name="low_speed_rooms_short",
    title="Compressor speed while rooms are short and targets are met",
    phrase="compressor at {measured:.0%} while rooms are short",
    unit="1",
    source="common practice, no source",
    settle="ask whether demand is limited on purpose (night quiet mode, power limit)",
    measure=_measure,
)
