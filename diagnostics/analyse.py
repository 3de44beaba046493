"""The public way in: samples of one system to per-sample results and window rows."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from diagnostics import reduction
from diagnostics.plant import Plant
from diagnostics.samples import FloatArray, Samples, TimeArray
from diagnostics.signals import gather
from diagnostics.signals.gather import Signals
from diagnostics.windows import Windows

METHOD_VERSION = 16
"""Grows whenever the same samples could give other numbers."""

WARM_UP_S = 7200
"""Samples before the span of interest that every analysis starts from."""

ASKED_OF_INDOOR = ("demand", "call", "valve")
"""Indoor channels that results of samples rest on; windows take the others in as well."""


@dataclass(frozen=True)
class SampleResults:
    """What is told of every sample, each array of shape (n,).

    state: index into ``STATE_NAMES``. direction: +1 to_indoor, -1 to_outdoor, 0 undetermined.
    subcooling_k: at the side the liquid comes from; other_point_subcooling_k: what a reading at
    the other side would have shown. hunting: 1, 0, or -1 where it cannot be judged. Flows in kg/s.
    NaN where it cannot be told.
    """

    time: TimeArray
    state: NDArray[np.int8]
    steady: NDArray[np.bool_]
    direction: NDArray[np.int8]
    subcooling_k: FloatArray
    subcooling_sigma_k: FloatArray
    other_point_subcooling_k: FloatArray
    suction_superheat_k: FloatArray
    discharge_superheat_k: FloatArray
    liquid_flow_kg_s: FloatArray
    liquid_flow_low_kg_s: FloatArray
    liquid_flow_high_kg_s: FloatArray
    compressor_flow_kg_s: FloatArray
    hunting: NDArray[np.int8]
    demand_share: FloatArray


@dataclass(frozen=True)
class Analysis(SampleResults):
    """The same, and the window rows."""

    windows: Windows


def analyse(samples: Samples, plant: Plant) -> Analysis:
    """Judge one system over one span, sample by sample and by windows of 15 minutes.

    samples: SI units, NaN = missing; see ``diagnostics.samples.Samples``. For numbers that do not
    depend on how a long record is cut, pass whole UTC days, each with ``WARM_UP_S`` of samples
    before it, and keep the day. plant: see ``diagnostics.plant.Plant``.
    """
    found = gather.check(samples, plant)
    return Analysis(**_of_samples(found), windows=reduction.reduce(found))


def sample_by_sample(samples: Samples, plant: Plant) -> SampleResults:
    """The same without the windows, in some two thirds of the time."""
    return SampleResults(**_of_samples(gather.compute(samples, plant)))


def _of_samples(found: Signals) -> dict[str, Any]:
    return {
        "time": found.samples.time,
        "state": found.states.state,
        "steady": found.states.steady,
        "direction": found.direction.sign,
        "subcooling_k": found.subcooling.upstream_k,
        "subcooling_sigma_k": found.subcooling.sigma_k,
        "other_point_subcooling_k": found.subcooling.other_k,
        "suction_superheat_k": found.circuit.suction_superheat_k,
        "discharge_superheat_k": found.circuit.discharge_superheat_k,
        "liquid_flow_kg_s": found.flow.main_kg_s,
        "liquid_flow_low_kg_s": found.flow.low_kg_s,
        "liquid_flow_high_kg_s": found.flow.high_kg_s,
        "compressor_flow_kg_s": found.flow.compressor_kg_s,
        "hunting": found.hunting.per_sample,
        "demand_share": found.demand.share,
    }
