"""How every finding spreads over simulated systems of each hypothesis: what weights.toml rounds.

    python -m tests.benchmarks.spread --systems 240

Beside the quantiles stand the mean and the spread under which the deviations are likeliest, given
their uncertainties and the floor that `weigh` puts under every bell. Uses the tuning
half of the judgement benchmark, never the other.
"""

from __future__ import annotations

import argparse
import sys
from collections import defaultdict
from dataclasses import dataclass
from itertools import islice

import numpy as np
from scipy import optimize, stats

from diagnostics import pooling
from diagnostics.findings import REGISTRY, Context
from diagnostics.plant import Plant
from diagnostics.samples import FloatArray
from diagnostics.weighing import weigh
from diagnostics.windows import Windows
from fixtures.exams import exam
from fixtures.simulator.spec import Fault, SystemSpec
from tests.benchmarks.analysed import by_days
from tests.benchmarks.judgement import cases, groups
from tests.benchmarks.judgement.examine import each
from tests.benchmarks.judgement.groups import TUNING_SEED

SLIGHT = 0.15
"""A charge off by less is slight: the rung of 10 %."""

_WAYS = {
    "liquid_restriction": "flow_restriction",
    "subcooler_valve_stuck_closed": "valve_stuck_closed",
    "subcooler_valve_stuck_open": "valve_stuck_open",
    "subcooler_valve_leaking": "valve_leaks",
    "subcooler_valve_hunting": "valve_hunts",
    "swapped_liquid_thermistors": "liquid_thermistors_swapped",
    "liquid_thermistor_outdoor_off_pipe": "outdoor_side_thermistor_off_pipe",
    "liquid_thermistor_indoor_off_pipe": "indoor_side_thermistor_off_pipe",
    "discharge_thermistor_off": "discharge_thermistor_off_pipe",
    "suction_thermistor_off": "suction_thermistor_off_pipe",
    "frozen_sensor": "frozen_reading",
}
_READS = {
    "discharge_transducer_offset": "discharge_pressure",
    "suction_transducer_offset": "suction_pressure",
    "liquid_temperature_outdoor_side": "outdoor_side_thermistor",
    "liquid_temperature_indoor_side": "indoor_side_thermistor",
    "suction_temperature": "suction_thermistor",
    "discharge_temperature": "discharge_thermistor",
}
_OUTDOOR_SIDE = "liquid_temperature_outdoor_side"
_INDOOR_SIDE = "liquid_temperature_indoor_side"
_COOL = ("outdoor_coil_temperature", "outdoor_air_temperature", "subcooler_gas_temperature")
_SWAPPED = {
    frozenset({_OUTDOOR_SIDE, _INDOOR_SIDE}): "liquid_thermistors_swapped",
    frozenset({"suction_temperature", _INDOOR_SIDE}): "suction_and_indoor_side_swapped",
    frozenset({"suction_temperature", _OUTDOOR_SIDE}): "suction_and_outdoor_side_swapped",
    **{frozenset({it, _INDOOR_SIDE}): "indoor_side_thermistor_misplaced" for it in _COOL},
    **{frozenset({it, _OUTDOOR_SIDE}): "outdoor_side_thermistor_misplaced" for it in _COOL},
}


@dataclass(frozen=True, eq=False)
class Rows:
    """Window rows of one system, and the hypothesis of weights.toml that is true of it."""

    way: str
    windows: Windows
    plant: Plant


def way_of(faults: tuple[Fault, ...]) -> str:
    """The hypothesis of weights.toml for a system with one fault or none."""
    if not faults:
        return "normal"
    (fault,) = faults
    if fault.kind == "swapped_wires":
        pair = frozenset({fault.channel, fault.other_channel})
        return _SWAPPED.get(pair, "wires of others swapped")
    if fault.kind == "charge":
        size = "slight" if abs(fault.severity) < SLIGHT else "marked"
        return f"{fault.condition}_{size}"
    read = _READS.get(fault.channel if fault.kind == "thermistor_bias" else fault.kind)
    if read is None:
        return _WAYS[fault.kind]
    return f"{read}_reads_{'high' if fault.severity > 0 else 'low'}"


def rows(spec: SystemSpec) -> Rows:
    """The window rows of one system."""
    samples, plant = cases.of(spec).seen()
    return Rows(way_of(spec.faults), by_days(samples, plant).windows, plant)


def deviations(systems: list[Rows]) -> dict[str, dict[str, FloatArray]]:
    """Deviation of every finding over each system's record: finding -> way -> values and sigmas.

    Shape (2, n).
    """
    found: dict[str, dict[str, list[tuple[float, float]]]] = defaultdict(lambda: defaultdict(list))
    for system in systems:
        row = pooling.pool(system.windows)
        for finding in REGISTRY:
            measured = finding.measure(row, Context(system.plant))
            if measured.resting_s[0] > 0 and np.isfinite(measured.deviation[0]):
                pair = float(measured.deviation[0]), float(measured.sigma[0])
                found[finding.name][system.way].append(pair)
    return {
        name: {way: np.array(pairs).T for way, pairs in ways.items()}
        for name, ways in found.items()
    }


def likeliest(values: FloatArray, sigmas: FloatArray, span: float) -> tuple[float, float]:
    """Mean and spread under which the values are likeliest, as `weigh` reckons."""
    floor = weigh.table().floor_share

    def loss(parameters: FloatArray) -> float:
        bell = stats.norm.pdf(values, parameters[0], np.hypot(np.exp(parameters[1]), sigmas))
        return -float(np.log((1.0 - floor) * bell + floor / span).sum())

    begin = [np.median(values), np.log(max(float(np.std(values)), 1e-3))]
    found = optimize.minimize(loss, begin, method="Nelder-Mead")
    return float(found.x[0]), float(np.exp(found.x[1]))


def main() -> int:
    """Print mean, spread and quantiles per finding and hypothesis."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--systems", type=int, default=240)
    parser.add_argument("--days", type=float, default=7.0)
    options = parser.parse_args()
    drawn = exam(TUNING_SEED, options.systems, options.days)
    wired = groups.swapped_wires(groups.Size(TUNING_SEED, options.systems, options.days))
    specs = [spec for spec in drawn if len(spec.conditions) == 1]
    systems = each(rows, specs + list(islice(wired, options.systems)))
    for name, ways in deviations(systems).items():
        sys.stdout.write(f"\n{name}\n")
        span = weigh.table().likelihoods[name].span
        for way, (values, sigmas) in sorted(ways.items()):
            mean, spread = likeliest(values, sigmas, span)
            quantiles = np.quantile(values, [0.0, 0.1, 0.5, 0.9, 1.0])
            numbers = " ".join(f"{q:8.2f}" for q in quantiles)
            sys.stdout.write(
                f"  {way:36} n {len(values):3}  mean {mean:7.2f}  spread {spread:6.2f}  "
                f"min 10% 50% 90% max {numbers}\n"
            )
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
