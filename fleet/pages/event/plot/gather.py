"""Samples and their analysis over a span, as the series the plot draws."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from diagnostics import refrigerant
from diagnostics.analyse import SampleResults
from diagnostics.plant import Plant
from diagnostics.samples import FloatArray, Samples
from diagnostics.signals.state import STATE_NAMES
from fleet.analysis.samples import with_logged
from fleet.pages.event.plot.series import EventSeries
from fleet.pages.event.plot.spans import Span
from fleet.pages.units import Preference


def gather(span: Span, prefer: Preference) -> EventSeries:
    """The series of the event's system over ``span`` in the reader's units."""
    system = span.event.system
    analysis, logged = with_logged(system, span.start, span.end)
    plant = system.plant()
    values = {
        **_subcooling(analysis, prefer),
        **_circuit(logged, plant, prefer),
        "demand": 100.0 * analysis.demand_share,
        "flow": analysis.liquid_flow_kg_s,
        "flow_low": analysis.liquid_flow_low_kg_s,
        "flow_high": analysis.liquid_flow_high_kg_s,
    }
    return EventSeries(
        time=analysis.time,
        offset_s=span.offset_s,
        clock=span.clock,
        local_span_ms=(span.local_ms(span.start), span.local_ms(span.end)),
        peak_local_ms=span.local_ms(span.event.peak_at),
        state=analysis.state,
        state_names=tuple(STATE_NAMES),
        direction=analysis.direction,
        hunting=analysis.hunting,
        values=values,
        temperature_unit=prefer.temperature_label,
        difference_unit=prefer.difference_label,
        pressure_unit=prefer.pressure_label,
    )


def _subcooling(analysis: SampleResults, prefer: Preference) -> dict[str, FloatArray]:
    """Subcooling told apart by the thermistor it was taken at: the side the liquid comes from."""
    upstream = prefer.difference_of(analysis.subcooling_k)
    return {
        "upstream_outdoor_side": np.where(analysis.direction > 0, upstream, np.nan),
        "upstream_indoor_side": np.where(analysis.direction < 0, upstream, np.nan),
        "other": prefer.difference_of(analysis.other_point_subcooling_k),
    }


def _circuit(logged: Sequence[Samples], plant: Plant, prefer: Preference) -> dict[str, FloatArray]:
    """What was logged, with the saturation temperatures the pressures stand for."""

    def outdoor(name: str) -> FloatArray:
        return np.concatenate([np.zeros(0), *(piece.outdoor_or_nan(name) for piece in logged)])

    fluid = refrigerant.fluid(plant.refrigerant)
    speed = outdoor("compressor_speed")
    high = outdoor("discharge_pressure")
    running = np.where(speed > 0, 1.0, np.nan)
    temperatures = {
        "condensing": fluid.t_dew_k(high) * running,
        "evaporating": fluid.t_dew_k(outdoor("suction_pressure")) * running,
        "condensing_target": outdoor("condensing_target"),
        "evaporating_target": outdoor("evaporating_target"),
        "outdoor_side": outdoor("liquid_temperature_outdoor_side"),
        "indoor_side": outdoor("liquid_temperature_indoor_side"),
    }
    return {
        **{name: prefer.temperature_of(values) for name, values in temperatures.items()},
        "pressure": prefer.pressure_of(high, plant.atmospheric_pressure_pa),
        "valve": 100.0 * outdoor("subcooler_valve"),
        "speed": 100.0 * speed / plant.compressor_max_speed_rps,
    }
