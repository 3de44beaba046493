"""From per-sample signals to window rows."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from diagnostics.channels import CALLS
from diagnostics.samples import FloatArray
from diagnostics.signals import hunting
from diagnostics.signals.gather import Checked
from diagnostics.signals.state import State
from diagnostics.windows import FEATURES, INDEX, WINDOW_S, Windows, empty

HIGH_DEMAND = 0.6
"""Share of the installed capacity asked from which demand counts as high (common practice)."""

READ_OFTEN_S = 120.0
"""A valve's controller has settled within two minutes of a change of load; readings further apart
would take its ordinary work for restlessness."""

SHORT_K = 0.7
"""A room this far on the wrong side of its setpoint is short: beyond a thermostat's dead band."""

MOVED_SHARE = 0.08
"""Change of the opening, over its mean, that is more than a controller's trim (common practice)."""

VALVE_OPEN = 0.02
"""Mean opening above which its changes can be told from a stepper's last digit."""

LOADED = 0.25
"""Speed share from which superheats and targets tell of charge: below it the compressor is at its
slowest and they follow the machine (common practice)."""

TARGET_MET_K = 2.0
"""A saturation temperature within this of its target counts as attained (common practice)."""

Mask = NDArray[np.bool_]


@dataclass(frozen=True)
class _Grid:
    """Samples sorted into windows: ``row`` (n,) is the window of each sample."""

    start: NDArray[np.datetime64]
    row: NDArray[np.int64]
    sample_s: FloatArray
    features: FloatArray = field(repr=False)

    def seconds(self, name: str, mask: Mask) -> None:
        self.features[:, INDEX[name]] = self._sum(np.where(mask, self.sample_s, 0.0))

    def mean(self, name: str, values: FloatArray, mask: Mask) -> None:
        """Mean over ``mask``; samples without the value are passed over."""
        weight = np.where(mask & np.isfinite(values), self.sample_s, 0.0)
        total, seconds = self._sum(np.where(weight > 0, values, 0.0) * weight), self._sum(weight)
        known = seconds > 0
        self.features[known, INDEX[name]] = total[known] / seconds[known]

    def _sum(self, values: FloatArray) -> FloatArray:
        sums = np.bincount(self.row, weights=values, minlength=self.start.size)
        return sums.astype(np.float64)


def reduce(signals: Checked) -> Windows:
    """Window rows of the span, one for every window that holds a sample."""
    if not len(signals.samples):
        return empty()
    grid = _grid(signals)
    masks = _masks(signals)
    for name, mask in masks.items():
        grid.seconds(name, mask)
    _circuit(grid, signals, masks)
    _demand(grid, signals, masks)
    _subcooler(grid, signals, masks)
    _hunting(grid, signals, masks)
    _instruments(grid, signals, masks)
    return Windows(grid.start, grid.features)


def _grid(signals: Checked) -> _Grid:
    time = signals.samples.time
    number = time.astype("datetime64[s]").astype(np.int64) // WINDOW_S
    windows, row = np.unique(number, return_inverse=True)
    start = (windows * WINDOW_S).astype("datetime64[s]").astype("datetime64[us]")
    seconds = signals.timebase.seconds
    # A sample stands for the time since the one before it, at most twice the usual interval.
    usual_s = signals.timebase.usual_s
    step = np.diff(seconds, prepend=seconds[0] - usual_s[0])
    sample_s = np.minimum(step, 2.0 * usual_s)
    return _Grid(start, row, sample_s, np.full((start.size, len(FEATURES)), np.nan))


def _masks(signals: Checked) -> dict[str, Mask]:
    """Which samples each count of seconds rests on, by the name of the feature."""
    states, way = signals.states, signals.direction
    transient = np.isin(states.state, (State.STARTING, State.DEFROST, State.OIL_RETURN))
    running = states.running & ~transient
    steady = states.steady & running
    measured = np.isfinite(signals.subcooling.upstream_k)
    asking = signals.demand.share
    high = running & (asking >= HIGH_DEMAND)
    pure_flow = steady & (states.pure != 0)
    valve = signals.samples.outdoor_or_nan("subcooler_valve")
    loaded = steady & (_speed_share(signals) >= LOADED)
    # Slow logging shows hunting in some blocks and cannot exclude it in the others; counting all of
    # them makes the share a lower bound instead of a share of the lucky blocks.
    read_s = np.fmax(signals.timebase.usual_s, signals.hunting.interval_s)
    shows_hunting = running & (read_s < hunting.BLIND_INTERVAL_S)
    standing = np.isfinite(signals.instruments.standstill_difference_pa) | np.isfinite(
        signals.instruments.standstill_discharge_k
    )
    return {
        "logged_s": np.ones(len(signals.samples), dtype=bool),
        "running_s": running,
        "judged_s": running & measured,
        "to_indoor_s": steady & measured & (way.sign > 0),
        "to_outdoor_s": steady & measured & (way.sign < 0),
        "steady_s": steady,
        "loaded_s": loaded,
        "cooling_s": loaded & (states.pure > 0),
        "heating_s": loaded & (states.pure < 0),
        "simultaneous_s": running & (states.state == State.SIMULTANEOUS),
        "asking_s": running & (asking > 0),
        "high_demand_s": high,
        "short_s": high & _short(signals),
        "flow_s": pure_flow & signals.flow.quantified,
        "open_s": pure_flow & np.isfinite(signals.instruments.drop_valve_open_k),
        "closed_s": pure_flow & np.isfinite(signals.instruments.drop_valve_closed_k),
        "hunting_judged_s": shows_hunting,
        "hunting_demand_s": shows_hunting & high & (states.pure != 0),
        "restless_s": loaded & (states.pure > 0) & (signals.timebase.usual_s <= READ_OFTEN_S),
        "hunting_s": running & (signals.hunting.per_sample == 1),
        "pure_s": running & np.isfinite(way.contradiction) & np.isfinite(valve),
        "standstill_s": standing,
        "resting_s": signals.instruments.resting,
        "tracking_s": running & np.isfinite(signals.instruments.outdoor_side_tracks_air),
    }


def _short(signals: Checked) -> Mask:
    """Rooms are short although what the controller aims at is attained."""
    circuit = signals.circuit
    missed = np.where(
        signals.states.pure < 0, -circuit.condensing_error_k, circuit.evaporating_error_k
    )
    attained = ~(missed > TARGET_MET_K)
    return (signals.demand.shortfall_k > SHORT_K) & attained


def _speed_share(signals: Checked) -> FloatArray:
    speed = signals.samples.outdoor_or_nan("compressor_speed")
    return speed / signals.plant.compressor_max_speed_rps


def _circuit(grid: _Grid, signals: Checked, masks: dict[str, Mask]) -> None:
    cooling, heating = masks["to_indoor_s"], masks["to_outdoor_s"]
    measured, circuit = signals.subcooling, signals.circuit
    speed = _speed_share(signals)
    air = signals.samples.outdoor_or_nan("outdoor_air_temperature")
    for way, mask in (("to_indoor", cooling), ("to_outdoor", heating)):
        grid.mean(f"subcooling_{way}_k", measured.upstream_k, mask)
        grid.mean(f"other_{way}_k", measured.other_k, mask)
        grid.mean(f"sigma_{way}_k", measured.sigma_k, mask)
        grid.mean(f"load_{way}", speed, mask)
        grid.mean(f"air_{way}_k", air, mask)
    grid.mean("saturated_share", measured.at_saturation.astype(float), cooling)
    loaded = masks["loaded_s"]
    grid.mean("suction_superheat_k", circuit.suction_superheat_k, loaded)
    grid.mean("discharge_superheat_k", circuit.discharge_superheat_k, loaded)
    grid.mean("pressure_ratio", circuit.pressure_ratio, loaded)
    grid.mean("evaporating_error_k", circuit.evaporating_error_k, masks["cooling_s"])
    grid.mean("condensing_error_k", circuit.condensing_error_k, masks["heating_s"])
    for name in ("condensing_over_coil_k", "evaporating_under_pipe_k"):
        grid.mean(name, getattr(signals.coils, name), masks["cooling_s"])


def _demand(grid: _Grid, signals: Checked, masks: dict[str, Mask]) -> None:
    demand, speed = signals.demand, _speed_share(signals)
    grid.mean("demand_share", demand.share, masks["running_s"])
    grid.mean("shortfall_k", demand.shortfall_k, masks["asking_s"])
    high = masks["high_demand_s"]
    grid.mean("speed_high_demand", speed, high)
    grid.mean("shortfall_high_demand_k", demand.shortfall_k, high)
    grid.mean("speed_short", speed, masks["short_s"])
    grid.mean("indoor_valve_share", _asking_valves(signals), high)


def _asking_valves(signals: Checked) -> FloatArray:
    """Mean opening of the valves of indoor units that call for cooling, shape (n,)."""
    units = len(signals.plant.indoor)
    valves = signals.samples.indoor_or_nan("valve", units)
    calls = signals.samples.indoor_or_nan("call", units)
    demand = signals.samples.indoor_or_nan("demand", units)
    known = (calls == CALLS.index("cool")) & (demand > 0) & np.isfinite(valves)
    count = known.sum(axis=0)
    total = np.where(known, valves, 0.0).sum(axis=0)
    return np.where(count > 0, total / np.maximum(count, 1), np.nan)


def _subcooler(grid: _Grid, signals: Checked, masks: dict[str, Mask]) -> None:
    instruments, flow = signals.instruments, signals.flow
    grid.mean(
        "subcooler_opening", signals.samples.outdoor_or_nan("subcooler_valve"), masks["steady_s"]
    )
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = np.log(flow.balance_kg_s / flow.compressor_kg_s)
    grid.mean("flow_log_ratio", np.where(np.isfinite(ratio), ratio, np.nan), masks["flow_s"])
    grid.mean("drop_open_k", instruments.drop_valve_open_k, masks["open_s"])
    grid.mean("expected_drop_k", instruments.expected_drop_k, masks["open_s"])
    grid.mean("drop_closed_k", instruments.drop_valve_closed_k, masks["closed_s"])
    doubt = np.full(len(signals.samples), instruments.leak_sigma_k)
    grid.mean("leak_sigma_k", doubt, masks["closed_s"])


def _hunting(grid: _Grid, signals: Checked, masks: dict[str, Mask]) -> None:
    """Blocks of ten minutes are given to the window that holds their middle."""
    found = signals.hunting
    grid.mean("restlessness", _restlessness(signals), masks["restless_s"])
    hunts = (found.per_sample == 1).astype(float)
    grid.mean("hunting_high_demand", hunts, masks["hunting_demand_s"])
    middle = found.block_start + np.timedelta64(300, "s")
    row = np.searchsorted(grid.start, middle, side="right") - 1
    use = found.hunting & (row >= 0)
    count = np.bincount(row[use], minlength=grid.start.size)
    for name, values in (
        ("hunting_swing_k", found.liquid_swing_k),
        ("hunting_opening", found.mean_opening),
        ("hunting_period_s", found.period_s),
    ):
        total = np.bincount(row[use], weights=values[use], minlength=grid.start.size)
        known = count > 0
        grid.features[known, INDEX[name]] = total[known] / count[known]


def _restlessness(signals: Checked) -> FloatArray:
    """1 where the subcooler valve's opening moved since the last reading, else 0, shape (n,)."""
    opening = signals.samples.outdoor_or_nan("subcooler_valve")
    before = np.concatenate([opening[:1], opening[:-1]])
    middle = 0.5 * (opening + before)
    with np.errstate(invalid="ignore", divide="ignore"):
        change = np.abs(opening - before) / middle
    return np.where(middle > VALVE_OPEN, change > MOVED_SHARE, np.nan)


def _instruments(grid: _Grid, signals: Checked, masks: dict[str, Mask]) -> None:
    checks, way = signals.instruments, signals.direction
    grid.mean("contradiction", way.contradiction, masks["pure_s"])
    for name in ("standstill_difference_pa", "standstill_discharge_k", "standstill_suction_k"):
        grid.mean(name, getattr(checks, name), masks["standstill_s"])
    for name in ("resting_outdoor_side_k", "resting_indoor_side_k", "resting_suction_k"):
        grid.mean(name, getattr(checks, name), masks["resting_s"])
    grid.mean("above_saturation_k", checks.above_saturation_k, masks["to_indoor_s"])
    for name in ("outdoor_side_tracks_air", "indoor_side_tracks_air"):
        grid.mean(name, getattr(checks, name), masks["tracking_s"])
    grid.mean("discharge_below_k", checks.discharge_below_condensing_k, masks["steady_s"])
    flat = np.zeros(len(signals.samples), dtype=bool)
    for frozen in signals.cleaned.flatline.values():
        flat |= frozen if frozen.ndim == 1 else frozen.any(axis=0)
    grid.mean("frozen_share", flat.astype(float), masks["running_s"])
    ones = np.ones(len(signals.samples))
    grid.mean("offset_k", checks.offset_k * ones, masks["running_s"])
    grid.mean("offset_sigma_k", way.offset_sigma_k * ones, masks["running_s"])
