"""The two superheats of one compressor belong together.

Compression turns a kelvin of suction superheat into a little more than a kelvin of discharge
superheat, so a discharge superheat that the pressure ratio and the suction superheat do not explain
points at a reading, or at liquid that the suction thermistor does not see.
"""

from __future__ import annotations

from diagnostics.findings.discharge_superheat import doubt_k, expected_k
from diagnostics.findings.finding import Context, Finding, Measured, seconds
from diagnostics.findings.suction_superheat import USUAL_K
from diagnostics.windows import Windows

DISCHARGE_PER_SUCTION = 1.2
"""Kelvin of discharge superheat per kelvin of suction superheat at 7/45 degC with an isentropic
efficiency of 0.70: 1.12 for R-410A, 1.27 for R-32 (computed with CoolProp 8)."""


def _measure(rows: Windows, context: Context) -> Measured:
    healthy = expected_k(context.plant.refrigerant, rows.column("pressure_ratio"))
    excess = rows.column("suction_superheat_k") - USUAL_K
    return Measured(
        value=rows.column("discharge_superheat_k"),
        expected=healthy + DISCHARGE_PER_SUCTION * excess,
        sigma=doubt_k(healthy, 1.5),
        resting_s=seconds(rows, "loaded_s"),
    )


FINDING = Finding(
    name="superheats_agree",
    title="Discharge superheat for the pressure ratio and the suction superheat",
    phrase="discharge superheat {measured:.0f} K where suction superheat and pressures say "
    "{expected:.0f} K",
    unit="K",
    source="isentropic efficiency 0.70, computed with CoolProp 8",
    settle="compare both compressor thermistors and both transducers with calibrated instruments",
    measure=_measure,
)
