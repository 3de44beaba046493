"""Everything that is told sample by sample, gathered in the order in which it is found out."""

from __future__ import annotations

from dataclasses import dataclass

from diagnostics import (
    cleaning,
    coils,
    demand,
    direction,
    hunting,
    instruments,
    liquid_flow,
    refrigerant,
    state,
    subcooling,
    superheat,
    timebase,
    transducers,
)
from diagnostics.plant import Plant
from diagnostics.samples import Samples


@dataclass(frozen=True)
class Signals:
    """The per-sample results of one system over one span; see the modules of the same names."""

    plant: Plant
    cleaned: cleaning.Cleaned
    timebase: timebase.Timebase
    states: state.States
    direction: direction.Direction
    subcooling: subcooling.Subcooling
    circuit: superheat.Circuit
    coils: coils.Coils
    flow: liquid_flow.LiquidFlow
    hunting: hunting.Hunting
    demand: demand.Demand
    instruments: instruments.Instruments

    @property
    def samples(self) -> Samples:
        """The cleaned samples."""
        return self.cleaned.samples


def compute(samples: Samples, plant: Plant) -> Signals:
    """The whole way from samples to signals.

    samples: one system over one span, as logged. Each step reads only what stands above it.
    """
    fluid = refrigerant.fluid(plant.refrigerant)
    cleaned = cleaning.clean(samples)
    good = cleaned.samples
    base = timebase.of(good)
    states = state.classify(good, base, fluid, plant)
    level = transducers.levelled(good, base, states)
    way = direction.infer(good, base, states)
    circuit = superheat.measure(good, states, fluid)
    return Signals(
        plant=plant,
        cleaned=cleaned,
        timebase=base,
        states=states,
        direction=way,
        subcooling=subcooling.measure(level, way, states, fluid, plant),
        circuit=circuit,
        coils=coils.compare(good, states, circuit, plant),
        flow=liquid_flow.estimate(good, states, way, fluid, plant),
        hunting=hunting.detect(good, base, states, way, plant),
        demand=demand.compare(good, states, plant),
        instruments=instruments.check(good, base, states, way, fluid, plant),
    )
