"""Does an open subcooler valve cool the liquid as much as it should?"""

from __future__ import annotations

import numpy as np

from diagnostics.findings.finding import Context, Finding, Measured, constant, seconds
from diagnostics.windows import Windows

# A kelvin added to both keeps the logarithm quiet where the drops are as small as the sensors'
# uncertainty.
_FLOOR_K = 1.0


def _measure(rows: Windows, _: Context) -> Measured:
    # A drop against the liquid's way is no effect of the valve: swapped thermistors show it, and
    # direction_contradicted speaks for them.
    drop = np.where(rows.column("drop_open_k") > -_FLOOR_K, rows.column("drop_open_k"), np.nan)
    drop = np.maximum(drop, 0.0)
    expected = np.maximum(rows.column("expected_drop_k"), 0.0)
    return Measured(
        value=np.log((drop + _FLOOR_K) / (expected + _FLOOR_K)),
        expected=constant(rows, 0.0),
        sigma=0.15 + 1.0 / (expected + _FLOOR_K),
        resting_s=seconds(rows, "open_s"),
    )


FINDING = Finding(
    name="subcooler_effect_open",
    title="Effect of the open subcooler valve, over what its opening should give",
    phrase="open subcooler valve has {measured:.0%} of its expected effect",
    unit="ratio",
    source="energy balance and valve equation; see diagnostics.signals.liquid_flow",
    settle="feel or clamp both liquid lines at the subcooler while its valve is commanded open",
    measure=_measure,
)
