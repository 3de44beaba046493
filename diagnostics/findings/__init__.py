"""One file a finding; this registry is the list, in the order of the ledger."""

from __future__ import annotations

from diagnostics.findings import (
    above_saturation,
    condensing_against_coil,
    direction_contradicted,
    discharge_superheat,
    discharge_thermistor,
    evaporating_against_pipe,
    evaporating_target,
    frozen_reading,
    heating_subcooling,
    hunting_under_demand,
    indoor_valves_open,
    line_flow,
    low_speed_rooms_short,
    restless_valve,
    saturated_liquid,
    standstill_pressures,
    standstill_saturation,
    subcooler_effect_closed,
    subcooler_effect_open,
    subcooling_change,
    suction_superheat,
    superheats_agree,
    thermistor_off_pipe,
    thermistor_offset,
    upstream_subcooling,
)
from diagnostics.findings.finding import Context, Finding, Measured, shown

REGISTRY: tuple[Finding, ...] = (
    upstream_subcooling.FINDING,
    heating_subcooling.FINDING,
    subcooling_change.FINDING,
    saturated_liquid.FINDING,
    suction_superheat.FINDING,
    discharge_superheat.FINDING,
    superheats_agree.FINDING,
    evaporating_target.FINDING,
    indoor_valves_open.FINDING,
    low_speed_rooms_short.FINDING,
    hunting_under_demand.FINDING,
    restless_valve.FINDING,
    line_flow.FINDING,
    subcooler_effect_open.FINDING,
    subcooler_effect_closed.FINDING,
    standstill_pressures.FINDING,
    standstill_saturation.FINDING,
    condensing_against_coil.FINDING,
    evaporating_against_pipe.FINDING,
    direction_contradicted.FINDING,
    above_saturation.FINDING,
    thermistor_off_pipe.FINDING,
    discharge_thermistor.FINDING,
    frozen_reading.FINDING,
    thermistor_offset.FINDING,
)

__all__ = ["REGISTRY", "Context", "Finding", "Measured", "shown"]
