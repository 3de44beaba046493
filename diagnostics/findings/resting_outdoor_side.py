"""After hours at rest the outdoor-side liquid thermistor reads the outdoor air."""

from __future__ import annotations

from diagnostics.findings.finding import Context, Finding, Measured, constant, seconds
from diagnostics.windows import Windows


def _measure(rows: Windows, _: Context) -> Measured:
    return Measured(
        value=rows.column("resting_outdoor_side_k"),
        expected=constant(rows, 0.0),
        sigma=constant(rows, 0.8),
        resting_s=seconds(rows, "resting_s"),
    )


FINDING = Finding(
    name="resting_outdoor_side",
    title="Outdoor-side liquid thermistor less outdoor air after two hours at rest",
    phrase="outdoor-side liquid thermistor reads {measured:+.1f} K from outdoor air at rest",
    unit="K",
    source="pipes at rest come to ambient: common practice, no source",
    settle="compare the outdoor-side liquid thermistor with a clamp on the same pipe",
    measure=_measure,
)
