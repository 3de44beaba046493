"""The rest of the circuit: superheats, pressure ratio, how well the targets are met.

Superheat is counted from the dew point. Low discharge superheat means that liquid comes back to
the compressor, which is urgent whatever the charge.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from diagnostics.refrigerant import Fluid
from diagnostics.samples import FloatArray, Samples
from diagnostics.signals.state import States


@dataclass(frozen=True)
class Circuit:
    """State of the refrigerant circuit per sample, shape (n,); NaN while off or not logged.

    Evaporating and condensing temperatures are dew points at suction and discharge pressure, the
    convention of compressor ratings (AHRI 540). Errors are those less the controller's targets.
    """

    suction_superheat_k: FloatArray
    discharge_superheat_k: FloatArray
    pressure_ratio: FloatArray
    evaporating_k: FloatArray
    condensing_k: FloatArray
    evaporating_error_k: FloatArray
    condensing_error_k: FloatArray


def measure(samples: Samples, states: States, fluid: Fluid) -> Circuit:
    """Superheats, pressure ratio and attainment of the targets."""
    suction_pa = np.where(states.running, samples.outdoor_or_nan("suction_pressure"), np.nan)
    discharge_pa = np.where(states.running, samples.outdoor_or_nan("discharge_pressure"), np.nan)
    evaporating_k = fluid.t_dew_k(suction_pa)
    condensing_k = fluid.t_dew_k(discharge_pa)
    return Circuit(
        samples.outdoor_or_nan("suction_temperature") - evaporating_k,
        samples.outdoor_or_nan("discharge_temperature") - condensing_k,
        discharge_pa / suction_pa,
        evaporating_k,
        condensing_k,
        evaporating_k - samples.outdoor_or_nan("evaporating_target"),
        condensing_k - samples.outdoor_or_nan("condensing_target"),
    )
