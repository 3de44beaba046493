"""Fifteen-minute windows: what the signals of one system come to, as one row of numbers.

A window row is all that later judgement reads. Every feature is a mean over the samples for which
it makes sense, beside the seconds it rests on, so that rows can be pooled over any longer span
without going back to the samples.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from diagnostics.samples import FloatArray, TimeArray

WINDOW_S = 900


@dataclass(frozen=True)
class Feature:
    """One number of a window row.

    ``weight`` names the feature with the seconds this one is a mean over; it is empty for
    the seconds themselves, which add up instead of being averaged.
    """

    name: str
    unit: str
    weight: str
    meaning: str


def _seconds(name: str, meaning: str) -> Feature:
    return Feature(name, "s", "", meaning)


FEATURES: tuple[Feature, ...] = (
    _seconds("logged_s", "time covered by samples"),
    _seconds("running_s", "compressor running, outside start, defrost and oil return"),
    _seconds("judged_s", "of the running time: direction known and subcooling measured"),
    _seconds("to_indoor_s", "steady, liquid to the indoor units, subcooling measured"),
    _seconds("to_outdoor_s", "steady, liquid to the outdoor coil, subcooling measured"),
    _seconds("steady_s", "steady and running"),
    _seconds("loaded_s", "steady at a quarter of the compressor's speed or more"),
    _seconds("cooling_s", "steady pure cooling at a quarter of the speed or more"),
    _seconds("heating_s", "steady pure heating at a quarter of the speed or more"),
    _seconds("simultaneous_s", "running in simultaneous operation"),
    _seconds("asking_s", "running, at least one indoor unit asks"),
    _seconds("high_demand_s", "running with 60 % or more of the capacity asked"),
    _seconds("short_s", "high demand and rooms short of their setpoint"),
    _seconds("flow_s", "steady pure mode with the line flow quantified"),
    _seconds("open_s", "subcooler valve open while liquid flows in a pure mode"),
    _seconds("closed_s", "subcooler valve closed while liquid flows in a pure mode"),
    _seconds("hunting_judged_s", "running and logged fast enough to show some hunting"),
    _seconds("hunting_demand_s", "of that, high demand in a pure mode"),
    _seconds("restless_s", "loaded pure cooling, valve open, readings at most two minutes apart"),
    _seconds("hunting_s", "the subcooler's valve hunts"),
    _seconds("pure_s", "pure mode with the valve open: the direction is known without sensors"),
    _seconds("standstill_s", "off long enough for the pressures to meet"),
    _seconds("resting_s", "off for two hours and more: pipes have come to outdoor air"),
    _seconds("tracking_s", "liquid thermistors could be held against outdoor air"),
    Feature("subcooling_to_indoor_k", "K", "to_indoor_s", "upstream subcooling, liquid to indoor"),
    Feature("other_to_indoor_k", "K", "to_indoor_s", "subcooling at the other point"),
    Feature("sigma_to_indoor_k", "K", "to_indoor_s", "standard uncertainty of the subcooling"),
    Feature("saturated_share", "1", "to_indoor_s", "share with no subcooling to be told from zero"),
    Feature("load_to_indoor", "1", "to_indoor_s", "compressor speed, share of its maximum"),
    Feature("air_to_indoor_k", "K", "to_indoor_s", "outdoor air temperature"),
    Feature("subcooling_to_outdoor_k", "K", "to_outdoor_s", "upstream subcooling, to outdoor"),
    Feature("other_to_outdoor_k", "K", "to_outdoor_s", "subcooling at the other point"),
    Feature("sigma_to_outdoor_k", "K", "to_outdoor_s", "standard uncertainty of the subcooling"),
    Feature("load_to_outdoor", "1", "to_outdoor_s", "compressor speed, share of its maximum"),
    Feature("air_to_outdoor_k", "K", "to_outdoor_s", "outdoor air temperature"),
    Feature("suction_superheat_k", "K", "loaded_s", "suction superheat"),
    Feature("discharge_superheat_k", "K", "loaded_s", "discharge superheat"),
    Feature("pressure_ratio", "1", "loaded_s", "discharge over suction pressure, absolute"),
    Feature("evaporating_error_k", "K", "cooling_s", "evaporating temperature above its target"),
    Feature("condensing_error_k", "K", "heating_s", "condensing temperature above its target"),
    Feature("condensing_over_coil_k", "K", "cooling_s", "condensing less outdoor coil"),
    Feature("evaporating_under_pipe_k", "K", "cooling_s", "evaporating less indoor liquid pipe"),
    Feature("demand_share", "1", "running_s", "capacity-weighted share of indoor units asking"),
    Feature("shortfall_k", "K", "asking_s", "rooms short of their setpoint, asking units"),
    Feature("speed_high_demand", "1", "high_demand_s", "speed share at high demand"),
    Feature("shortfall_high_demand_k", "K", "high_demand_s", "rooms short at high demand"),
    Feature("speed_short", "1", "short_s", "speed share at high demand with rooms short"),
    Feature("indoor_valve_share", "1", "high_demand_s", "opening of asking indoor units' valves"),
    Feature("subcooler_opening", "1", "steady_s", "opening of the subcooler's valve"),
    Feature("flow_log_ratio", "1", "flow_s", "ln(line flow by balance / by compressor)"),
    Feature("drop_open_k", "K", "open_s", "temperature drop along the liquid's way, valve open"),
    Feature("expected_drop_k", "K", "open_s", "the drop the opening should give"),
    Feature("drop_closed_k", "K", "closed_s", "the same with the valve commanded closed"),
    Feature("leak_sigma_k", "K", "closed_s", "standard uncertainty of that drop"),
    Feature("hunting_high_demand", "1", "hunting_demand_s", "share in which hunting shows"),
    Feature("restlessness", "1", "restless_s", "share of readings in which the opening moved"),
    Feature("hunting_swing_k", "K", "hunting_s", "swing of the leaving liquid while hunting"),
    Feature("hunting_opening", "1", "hunting_s", "mean opening while hunting"),
    Feature("hunting_period_s", "s", "hunting_s", "period of the hunting"),
    Feature("contradiction", "1", "pure_s", "log-odds of the sensors against the pure mode"),
    Feature("standstill_difference_pa", "Pa", "standstill_s", "discharge minus suction pressure"),
    Feature("standstill_discharge_k", "K", "standstill_s", "saturation (discharge) minus air"),
    Feature("standstill_suction_k", "K", "standstill_s", "saturation (suction) minus air"),
    Feature("resting_outdoor_side_k", "K", "resting_s", "outdoor-side thermistor minus air"),
    Feature("resting_indoor_side_k", "K", "resting_s", "indoor-side thermistor minus air"),
    Feature("resting_suction_k", "K", "resting_s", "suction thermistor minus air"),
    Feature("above_saturation_k", "K", "to_indoor_s", "liquid hotter than saturation"),
    Feature("outdoor_side_tracks_air", "1", "tracking_s", "outdoor-side thermistor follows air"),
    Feature("indoor_side_tracks_air", "1", "tracking_s", "indoor-side thermistor follows air"),
    Feature("discharge_below_k", "K", "steady_s", "discharge gas colder than condensing"),
    Feature("frozen_share", "1", "running_s", "share in which some reading stands still"),
    Feature("offset_k", "K", "running_s", "learned difference of the two liquid thermistors"),
    Feature("offset_sigma_k", "K", "running_s", "its standard uncertainty"),
)

INDEX = {feature.name: i for i, feature in enumerate(FEATURES)}


@dataclass(frozen=True)
class Windows:
    """Window rows of one system.

    start: datetime64[us], UTC, ascending, shape (w,). features: shape (w, len(FEATURES)), NaN =
    not to be told.
    """

    start: TimeArray
    features: FloatArray

    def __len__(self) -> int:
        """Number of rows."""
        return int(self.start.size)

    def column(self, name: str) -> FloatArray:
        """One feature of all rows, shape (w,)."""
        return self.features[:, INDEX[name]]

    def rows(self, chosen: NDArray[np.bool_] | slice) -> Windows:
        """The chosen rows."""
        return Windows(self.start[chosen], self.features[chosen])

    def between(self, start: np.datetime64, end: np.datetime64) -> Windows:
        """Rows with start <= window start < end."""
        low, high = np.searchsorted(self.start, np.array([start, end], dtype=self.start.dtype))
        return self.rows(slice(int(low), int(high)))


def empty() -> Windows:
    """No rows."""
    return Windows(np.zeros(0, "datetime64[us]"), np.zeros((0, len(FEATURES))))
