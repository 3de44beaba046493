"""The liquid thermistors say the opposite of what pure cooling or heating allows."""

from __future__ import annotations

from diagnostics.findings.finding import Context, Finding, Measured, constant, seconds
from diagnostics.windows import Windows


def _measure(rows: Windows, _: Context) -> Measured:
    return Measured(
        value=rows.column("contradiction"),
        expected=constant(rows, 0.0),
        sigma=constant(rows, 0.5),
        resting_s=seconds(rows, "pure_s"),
    )


FINDING = Finding(
    name="direction_contradicted",
    title="Evidence of the two liquid thermistors against the known direction (log-odds)",
    phrase="liquid thermistors do not show the known direction",
    unit="1",
    source="direction is fixed by physics in pure cooling and pure heating",
    settle="check that each liquid thermistor sits where its channel says",
    measure=_measure,
)
