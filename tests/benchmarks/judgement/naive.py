"""The usual practice on the same data: the mode decides the point, fixed limits decide the fault.

Readings are as well cleaned, and steady operation as well chosen, as for the method, so that what
is compared is the judgement alone. Limits: common practice, no source.
"""

from __future__ import annotations

import numpy as np

from diagnostics import pooling
from diagnostics.verdict import NOT_ENOUGH_DATA
from diagnostics.weighing.weigh import CONDITIONS
from diagnostics.windows import Windows

LOW_SUBCOOLING_K = 3.0
HIGH_SUBCOOLING_K = 10.0
HIGH_SUPERHEAT_K = 10.0
LEAST_S = 1800.0


def leading(windows: Windows) -> str:
    """What fixed limits on the means of the whole span say."""
    if not len(windows):
        return NOT_ENOUGH_DATA
    row = pooling.pool(windows)
    superheat_k = float(row.column("suction_superheat_k")[0])
    for way in ("to_indoor", "to_outdoor"):
        if np.nan_to_num(row.column(f"{way}_s"))[0] >= LEAST_S:
            return _limits(float(row.column(f"subcooling_{way}_k")[0]), superheat_k)
    return NOT_ENOUGH_DATA


def _limits(subcooling_k: float, superheat_k: float) -> str:
    dry = superheat_k > HIGH_SUPERHEAT_K
    if subcooling_k < LOW_SUBCOOLING_K:
        return "undercharge"
    if subcooling_k > HIGH_SUBCOOLING_K:
        return "flow_restriction" if dry else "overcharge"
    return "normal"


def conditions(name: str) -> dict[str, float]:
    """A limit is sure of itself; without an answer every condition is as likely."""
    if name == NOT_ENOUGH_DATA:
        return dict.fromkeys(CONDITIONS, 1.0 / len(CONDITIONS))
    return {condition: float(condition == name) for condition in CONDITIONS}
