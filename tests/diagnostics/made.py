"""Hand-made records for the tests of the later stages: one steady unit, whatever is wished."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from diagnostics import refrigerant
from diagnostics.plant import BranchSide, Plant, Refrigerant
from diagnostics.refrigerant import Fluid
from diagnostics.samples import FloatArray, Samples
from diagnostics.signals import direction, state, timebase
from diagnostics.signals.direction import Direction
from diagnostics.signals.state import State, States
from diagnostics.signals.timebase import Timebase
from tests.diagnostics import record

SUBCOOLER = {
    "liquid_temperature_outdoor_side": 312.15,
    "liquid_temperature_indoor_side": 298.15,
    "discharge_pressure": 2.6e6,
    "suction_pressure": 0.95e6,
    "suction_temperature": 284.0,
    "discharge_temperature": 345.0,
    "outdoor_air_temperature": 303.15,
}
"""The worked subcooler example: 2.60 MPa, 39 to 25 degC, branch at 0.95 MPa (R-410A)."""


@dataclass(frozen=True)
class Scene:
    """Everything a detector is given."""

    samples: Samples
    timebase: Timebase
    states: States
    direction: Direction
    fluid: Fluid
    plant: Plant


def states(n: int, code: State = State.COOLING) -> States:
    """One steady state throughout."""
    pure = {State.COOLING: 1, State.HEATING: -1}.get(code, 0)
    running = np.full(n, code is not State.OFF)
    settled = code in (State.COOLING, State.HEATING, State.SIMULTANEOUS)
    return States(np.full(n, code, np.int8), running, running & settled, np.full(n, pure, np.int8))


def known_direction(samples: Samples, sign: int, offset_sigma_k: float = 0.15) -> Direction:
    """A direction that needs no inference, with a well-learned offset of zero."""
    n = len(samples)
    drop_k = samples.outdoor_or_nan("liquid_temperature_outdoor_side") - samples.outdoor_or_nan(
        "liquid_temperature_indoor_side"
    )
    nothing = np.full(n, np.nan)
    signs = np.full(n, sign, np.int8)
    return Direction(
        signs, np.full(n, (sign + 1) / 2), np.ones(n, bool), 0.0, offset_sigma_k, drop_k, nothing
    )


def scene(
    n: int = 360,
    interval_s: float = 10.0,
    outdoor: Mapping[str, FloatArray | float] | None = None,
    code: State = State.COOLING,
    sign: int = 1,
    plant: Plant | None = None,
) -> Scene:
    """The worked subcooler example at rest in one state, changed by ``outdoor``."""
    samples = record.running(n, interval_s, SUBCOOLER | dict(outdoor or {}))
    return of(samples, states(n, code), sign, plant)


def of(samples: Samples, state_of: States, sign: int = 1, plant: Plant | None = None) -> Scene:
    """A scene of given samples and states."""
    plant = plant or with_valve()
    return Scene(
        samples,
        timebase.of(samples),
        state_of,
        known_direction(samples, sign),
        refrigerant.fluid(plant.refrigerant),
        plant,
    )


def inferred(samples: Samples, plant: Plant) -> Scene:
    """A scene whose states and direction are found out from the samples."""
    fluid = refrigerant.fluid(plant.refrigerant)
    base = timebase.of(samples)
    found = state.classify(samples, base, fluid, plant)
    way = direction.infer(samples, base, found)
    return Scene(samples, base, found, way, fluid, plant)


def with_valve(
    area_m2: float | None = 2.2e-6, side: BranchSide | None = BranchSide.OUTDOOR
) -> Plant:
    """A 45 kW R-410A system with 82 cm3 of displacement."""
    return replace(
        record.plant(Refrigerant.R410A),
        subcooler_valve_full_area_m2=area_m2,
        subcooler_branch_side=side,
    )
