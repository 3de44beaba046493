"""Pressures against the thermistors that sit in the two-phase part of the coils.

A coil's middle, and the pipe behind an indoor unit's valve, read near saturation while they work;
so a pressure transducer that has drifted shows against them without waiting for a standstill.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from diagnostics.channels import CALLS
from diagnostics.plant import Plant
from diagnostics.samples import FloatArray, Samples
from diagnostics.signals.state import States
from diagnostics.signals.superheat import Circuit


@dataclass(frozen=True)
class Coils:
    """Saturation less thermistor [K], each shape (n,); NaN where the coil does not work so.

    condensing_over_coil_k: condensing temperature less outdoor coil, in pure cooling.
    evaporating_under_pipe_k: evaporating temperature less the coldest asking unit's liquid pipe.
    """

    condensing_over_coil_k: FloatArray
    evaporating_under_pipe_k: FloatArray


def compare(samples: Samples, states: States, circuit: Circuit, plant: Plant) -> Coils:
    """Both differences of every sample; samples cleaned."""
    coil = samples.outdoor_or_nan("outdoor_coil_temperature")
    cooling = states.pure > 0
    return Coils(
        np.where(cooling, circuit.condensing_k - coil, np.nan),
        np.where(cooling, circuit.evaporating_k - _coldest_pipe(samples, plant), np.nan),
    )


def _coldest_pipe(samples: Samples, plant: Plant) -> FloatArray:
    """Liquid pipe of the coldest unit that calls for cooling [K], shape (n,)."""
    units = len(plant.indoor)
    pipes = samples.indoor_or_nan("liquid_pipe_temperature", units)
    cools = samples.indoor_or_nan("call", units) == CALLS.index("cool")
    asks = samples.indoor_or_nan("demand", units) > 0
    coldest = np.where(cools & asks & np.isfinite(pipes), pipes, np.inf).min(axis=0)
    return np.where(np.isfinite(coldest), coldest, np.nan)
