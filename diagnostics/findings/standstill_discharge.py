"""At standstill the saturation temperature of the discharge pressure is near outdoor air."""

from __future__ import annotations

from diagnostics.findings.finding import Context, Finding, Measured, constant, seconds
from diagnostics.windows import Windows


def _measure(rows: Windows, _: Context) -> Measured:
    return Measured(
        value=rows.column("standstill_discharge_k"),
        expected=constant(rows, 0.0),
        sigma=constant(rows, 1.0),
        resting_s=seconds(rows, "standstill_s"),
    )


FINDING = Finding(
    name="standstill_discharge",
    title="Saturation of the discharge pressure less outdoor air after a long standstill",
    phrase="discharge pressure puts saturation {measured:+.1f} K from outdoor air at standstill",
    unit="K",
    source="equalised circuit near ambient: common practice, no source",
    settle="compare the discharge transducer with a calibrated gauge at standstill",
    measure=_measure,
)
