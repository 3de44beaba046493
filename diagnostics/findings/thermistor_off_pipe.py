"""A liquid thermistor that follows the outdoor air has come off its pipe."""

from __future__ import annotations

import numpy as np

from diagnostics.findings.finding import Context, Finding, Measured, constant, seconds
from diagnostics.windows import Windows


def _measure(rows: Windows, _: Context) -> Measured:
    sides = [rows.column("outdoor_side_tracks_air"), rows.column("indoor_side_tracks_air")]
    return Measured(
        value=np.fmax(*sides),
        expected=constant(rows, 0.0),
        sigma=constant(rows, 0.05),
        resting_s=seconds(rows, "tracking_s"),
    )


FINDING = Finding(
    name="thermistor_off_pipe",
    title="How far a liquid thermistor follows the outdoor air (0 to 1)",
    phrase="a liquid thermistor follows the outdoor air",
    unit="1",
    source="common practice, no source",
    settle="check clip, paste and insulation of both liquid thermistors",
    measure=_measure,
)
