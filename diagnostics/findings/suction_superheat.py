"""Suction superheat: starved or flooded evaporators."""

from __future__ import annotations

from diagnostics.findings.finding import Context, Finding, Measured, constant, seconds
from diagnostics.windows import Windows

USUAL_K = 5.0


def _measure(rows: Windows, _: Context) -> Measured:
    return Measured(
        value=rows.column("suction_superheat_k"),
        expected=constant(rows, USUAL_K),
        sigma=constant(rows, 1.0),
        resting_s=seconds(rows, "loaded_s"),
    )


FINDING = Finding(
    name="suction_superheat",
    title="Suction superheat",
    phrase="suction superheat {measured:.1f} K, usual {expected:.0f} K",
    unit="K",
    source="usual 2 to 10 K: common practice, no source",
    settle="measure suction pressure and pipe temperature at the compressor's inlet",
    measure=_measure,
)
