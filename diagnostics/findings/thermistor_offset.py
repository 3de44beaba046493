"""The two liquid thermistors differ although nothing flows through the subcooler's valve."""

from __future__ import annotations

import numpy as np

from diagnostics.findings.finding import Context, Finding, Measured, constant, seconds
from diagnostics.windows import Windows


def _measure(rows: Windows, _: Context) -> Measured:
    return Measured(
        value=rows.column("offset_k"),
        expected=constant(rows, 0.0),
        sigma=np.nan_to_num(rows.column("offset_sigma_k"), nan=0.7),
        resting_s=seconds(rows, "running_s"),
    )


FINDING = Finding(
    name="thermistor_offset",
    title="Outdoor-side less indoor-side liquid thermistor, valve closed",
    phrase="outdoor-side thermistor reads {measured:+.1f} K against indoor-side, valve closed",
    unit="K",
    source="thermistors of the usual class agree within 1 K: common practice, no source",
    settle="compare both liquid thermistors side by side in one bath or on one pipe",
    measure=_measure,
)
