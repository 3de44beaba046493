"""Condensing pressure against the outdoor coil that condenses."""

from __future__ import annotations

from diagnostics.findings.finding import Context, Finding, Measured, constant, seconds
from diagnostics.windows import Windows

USUAL_K = 3.0


def _measure(rows: Windows, _: Context) -> Measured:
    return Measured(
        value=rows.column("condensing_over_coil_k"),
        expected=constant(rows, USUAL_K),
        sigma=constant(rows, 0.7),
        resting_s=seconds(rows, "cooling_s"),
    )


FINDING = Finding(
    name="condensing_against_coil",
    title="Condensing temperature above the outdoor coil",
    phrase="condensing {measured:.1f} K above the outdoor coil, usual {expected:.0f} K",
    unit="K",
    source="a coil reads near saturation in its middle: common practice, no source",
    settle="compare the discharge transducer with a calibrated gauge",
    measure=_measure,
)
