"""Discharge superheat against what the pressure ratio explains."""

from __future__ import annotations

import numpy as np

from diagnostics.findings.finding import Context, Finding, Measured, seconds
from diagnostics.plant import Refrigerant
from diagnostics.samples import FloatArray
from diagnostics.windows import Windows

# Discharge superheat at evaporating 7 and -10 degC, condensing 45 degC (pressure ratios 2.75 and
# 4.8), 5 K suction superheat, isentropic efficiency 0.70: CoolProp 8, within 4 % (the ratios are
# those of no refrigerant exactly), which the doubt below covers.
_AT_RATIO = {
    Refrigerant.R410A: (30.0, 47.0),
    Refrigerant.R32: (47.0, 77.0),
    Refrigerant.R454B: (34.0, 54.0),
}
_RATIOS = (2.75, 4.8)
EFFICIENCY_DOUBT = 0.07


def expected_k(refrigerant: Refrigerant, pressure_ratio: FloatArray) -> FloatArray:
    """Discharge superheat [K] of a healthy circuit at a pressure ratio, linear between points."""
    low, high = _AT_RATIO[refrigerant]
    return low + (high - low) * (pressure_ratio - _RATIOS[0]) / (_RATIOS[1] - _RATIOS[0])


def doubt_k(expected: FloatArray, least_k: float) -> FloatArray:
    """Standard uncertainty [K] of an expected discharge superheat: at least ``least_k``.

    Isentropic efficiencies differ by some 7 % between compressors and speeds (common practice, no
    source), and with them the superheat that the same pressure ratio makes.
    """
    return np.fmax(EFFICIENCY_DOUBT * expected, least_k)


def _measure(rows: Windows, context: Context) -> Measured:
    expected = expected_k(context.plant.refrigerant, rows.column("pressure_ratio"))
    return Measured(
        value=rows.column("discharge_superheat_k"),
        expected=expected,
        sigma=doubt_k(expected, 2.0),
        resting_s=seconds(rows, "loaded_s"),
    )


FINDING = Finding(
    name="discharge_superheat",
    title="Discharge superheat for the pressure ratio",
    phrase="discharge superheat {measured:.0f} K, expected {expected:.0f} K",
    unit="K",
    source="isentropic efficiency 0.70, 5 K suction superheat, computed with CoolProp 8",
    settle="measure discharge pipe temperature and pressure at the compressor",
    measure=_measure,
)
