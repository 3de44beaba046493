"""Everything that is told sample by sample, gathered in the order in which it is found out."""

from __future__ import annotations

from dataclasses import dataclass

from diagnostics import refrigerant
from diagnostics.plant import Plant
from diagnostics.samples import Samples
from diagnostics.signals import (
    cleaning,
    coils,
    demand,
    direction,
    hunting,
    instruments,
    liquid_flow,
    state,
    subcooling,
    superheat,
    timebase,
    transducers,
)


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
    flow: liquid_flow.LiquidFlow
    hunting: hunting.Hunting
    demand: demand.Demand

    @property
    def samples(self) -> Samples:
        """The cleaned samples."""
        return self.cleaned.samples


@dataclass(frozen=True)
class Checked(Signals):
    """The same, and what instruments say of each other: windows need it, samples do not."""

    coils: coils.Coils
    instruments: instruments.Instruments


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
    return Signals(
        plant=plant,
        cleaned=cleaned,
        timebase=base,
        states=states,
        direction=way,
        subcooling=subcooling.measure(level, way, states, fluid, plant),
        circuit=superheat.measure(good, states, fluid),
        flow=liquid_flow.estimate(good, states, way, fluid, plant),
        hunting=hunting.detect(good, base, states, way, plant),
        demand=demand.compare(good, states, plant),
    )


def check(samples: Samples, plant: Plant) -> Checked:
    """The same with the checks of the instruments."""
    found = compute(samples, plant)
    good, fluid = found.samples, refrigerant.fluid(plant.refrigerant)
    return Checked(
        **vars(found),
        coils=coils.compare(good, found.states, found.circuit, plant),
        instruments=instruments.check(
            good, found.timebase, found.states, found.direction, fluid, plant
        ),
    )
