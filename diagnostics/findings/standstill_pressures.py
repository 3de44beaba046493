"""At standstill the two pressures meet."""

from __future__ import annotations

from diagnostics.findings.finding import Context, Finding, Measured, constant, seconds
from diagnostics.windows import Windows


def _measure(rows: Windows, _: Context) -> Measured:
    return Measured(
        value=rows.column("standstill_difference_pa") / 1e3,
        expected=constant(rows, 0.0),
        sigma=constant(rows, 15.0),
        resting_s=seconds(rows, "standstill_s"),
    )


FINDING = Finding(
    name="standstill_pressures",
    title="Discharge less suction pressure after a long standstill",
    phrase="discharge pressure reads {measured:+.0f} kPa against suction pressure at standstill",
    unit="kPa",
    source="equalised pressures: common practice, no source; transducers of 0.5 to 1 % of span",
    settle="compare both transducers with a calibrated gauge at standstill",
    measure=_measure,
)
