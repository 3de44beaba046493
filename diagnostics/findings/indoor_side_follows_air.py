"""An indoor-side liquid thermistor that follows the outdoor air has come off its pipe."""

from __future__ import annotations

from diagnostics.findings.finding import Context, Finding, Measured, constant, seconds
from diagnostics.windows import Windows


def _measure(rows: Windows, _: Context) -> Measured:
    return Measured(
        value=rows.column("indoor_side_tracks_air"),
        expected=constant(rows, 0.0),
        sigma=constant(rows, 0.05),
        resting_s=seconds(rows, "tracking_s"),
    )


FINDING = Finding(
    name="indoor_side_follows_air",
    title="How far the indoor-side liquid thermistor follows the outdoor air (0 to 1)",
    phrase="the indoor-side liquid thermistor follows the outdoor air",
    unit="1",
    source="common practice, no source",
    settle="check clip, paste and insulation of the indoor-side liquid thermistor",
    measure=_measure,
)
