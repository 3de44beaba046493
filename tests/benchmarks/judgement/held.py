"""One system's per-sample answers held against the truth: counts and sums that add up.

Which samples count is settled by the truth alone, so a detector cannot shrink the exam by calling
hard samples something else:

- running: cooling, heating or simultaneous operation, outside start, defrost and oil return;
- clear: running, liquid flows, the valve passes refrigerant and the true drop is 2 K or more;
- steady: as the simulator tells it (saturation temperatures and speed level for three minutes).

The product states the subcooling of liquid from the rooms with the static head of its column; the
simulator's truth is against the discharge pressure alone. So the head of the true heights is added
to the truth there, weighted as the rooms call for heat.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from diagnostics.analyse import Analysis
from diagnostics.channels import CALLS
from diagnostics.samples import FloatArray, Samples
from fixtures.simulator.refrigerant_tables import refrigerant
from fixtures.simulator.spec import SystemSpec
from tests.benchmarks.judgement.cases import Known

CLEAR_DROP_K = 2.0
BLOCK_S = 600
_GRAVITY_M_S2 = 9.806_65
BLOCK_INTERVAL_S = 15.0
"""Hunting is held block by block on systems logged at least this often."""

QUIET_SHARE, HUNTING_SHARE = 0.25, 0.75
"""A true block hunts from the second share of its steady samples on, is quiet up to the first;
what lies between is neither, and is left out and counted."""

STEADY_SHARE = 0.5
"""Blocks with fewer steady samples are no steady blocks and left out."""

FLOW_BINS = np.append(np.linspace(0.0, 2.0, 401), np.inf)
"""Relative errors of the flow, by half a percent."""


@dataclass(frozen=True, eq=False)
class Tally:
    """counts: seconds-free numbers of samples or blocks. sums: of errors [K] and their squares.
    flow_errors: histogram over FLOW_BINS."""

    counts: Counter[str]
    sums: dict[str, float]
    flow_errors: NDArray[np.int64]


def hold(found: Analysis, samples: Samples, known: Known, spec: SystemSpec) -> Tally:
    """Everything countable of one system."""
    counts: Counter[str] = Counter()
    sums: dict[str, float] = {}
    true_m = np.array([unit.true_elevation_m for unit in spec.indoor])
    head_k = np.where(known.direction < 0, _head_k(samples, spec, true_m), 0.0)
    known = replace(known, subcooling_k=known.subcooling_k + head_k)
    _direction(counts, found, known)
    _subcooling(counts, sums, found, known)
    _standing_error(sums, samples, known, spec)
    _hunting(counts, found, samples, known)
    return Tally(counts, sums, _flow(counts, found, known))


def _direction(counts: Counter[str], found: Analysis, known: Known) -> None:
    flows = known.running & (known.direction != 0)
    clear = flows & known.valve_open & (known.drop_k >= CLEAR_DROP_K)
    answered = found.direction != 0
    right = answered & (found.direction == known.direction)
    kinds = (("clear", clear), ("other", flows & ~clear), ("both", flows & known.simultaneous))
    for kind, mask in kinds:
        counts[kind] += int(mask.sum())
        counts[f"{kind} answered"] += int((mask & answered).sum())
        counts[f"{kind} right"] += int((mask & right).sum())
    balanced = known.running & (known.direction == 0)
    counts["no flow"] += int(balanced.sum())
    counts["no flow answered"] += int((balanced & answered).sum())


def _steady(known: Known) -> NDArray[np.bool_]:
    return known.steady & known.running & (known.direction != 0)


def _subcooling(
    counts: Counter[str], sums: dict[str, float], found: Analysis, known: Known
) -> None:
    """Errors wherever a subcooling was stated, at the right point or not."""
    error = found.subcooling_k - known.subcooling_k
    steady = _steady(known)
    measured = steady & np.isfinite(error)
    counts["steady"] += int(steady.sum())
    counts["steady answered"] += int(measured.sum())
    counts["wrong point"] += int((measured & (found.direction != known.direction)).sum())
    for way, sign in (("to indoor", 1), ("to outdoor", -1)):
        chosen = error[measured & (known.direction == sign)]
        counts[f"answered {way}"] += chosen.size
        sums[f"error {way}"] = float(chosen.sum())
        sums[f"error squared {way}"] = float((chosen**2).sum())
        mean = steady & (known.direction == sign)
        counts[f"steady {way}"] += int(mean.sum())
        sums[f"true {way}"] = float(np.nansum(known.subcooling_k[mean]))


def _head_k(samples: Samples, spec: SystemSpec, heights_m: FloatArray) -> FloatArray:
    """What the liquid column from the rooms adds to the bubble temperature [K], shape (n,).

    heights_m: of the indoor units above the outdoor unit; NaN is left out, all NaN adds nothing.
    """
    fluid = refrigerant(spec.refrigerant)
    present = np.isfinite(heights_m)
    if not present.any():
        return np.zeros(len(samples))
    capacity = present * np.array([unit.cooling_capacity_kw for unit in spec.indoor])
    moment = capacity * np.nan_to_num(heights_m)
    calls = samples.indoor_or_nan("call", capacity.size) == CALLS.index("heat")
    asked = capacity @ calls
    everyone = np.full(asked.shape, float(moment.sum() / capacity.sum()))
    mean_m = np.divide(moment @ calls, asked, out=everyone, where=asked > 0)
    pressure = np.nan_to_num(samples.outdoor_or_nan("discharge_pressure"), nan=2.5e6)
    liquid_k = samples.outdoor_or_nan("liquid_temperature_indoor_side")
    density = fluid.liquid_density(np.clip(np.nan_to_num(liquid_k, nan=300.0), 260.0, 330.0))
    head_pa = _GRAVITY_M_S2 * density * mean_m
    return np.asarray(
        fluid.bubble_temperature(np.maximum(pressure + head_pa, 3e5))
        - fluid.bubble_temperature(np.maximum(pressure, 3e5))
    )


def _standing_error(
    sums: dict[str, float], samples: Samples, known: Known, spec: SystemSpec
) -> None:
    """What instruments and manifest are off by at the right point, steadily: mean by direction.

    No method that takes its sensors at their word does better than this; where the manifest does
    not tell the heights of the rooms, none knows the head of their liquid.
    """
    fluid = refrigerant(spec.refrigerant)
    told_m = np.array([np.nan if u.elevation_m is None else u.elevation_m for u in spec.indoor])
    head_k = _head_k(samples, spec, told_m)
    pressure = samples.outdoor_or_nan("discharge_pressure")
    present = np.isfinite(pressure)
    bubble = np.full(pressure.shape, np.nan)
    bubble[present] = fluid.bubble_temperature(pressure[present])
    for way, sign, side in (("to indoor", 1, "outdoor_side"), ("to outdoor", -1, "indoor_side")):
        read = bubble - samples.outdoor_or_nan(f"liquid_temperature_{side}")
        read = read + (head_k if sign < 0 else 0.0)
        error = (read - known.subcooling_k)[_steady(known) & (known.direction == sign)]
        error = error[np.isfinite(error)]
        sums[f"standing {way}"] = float(error.mean()) if error.size else np.nan


def _hunting(counts: Counter[str], found: Analysis, samples: Samples, known: Known) -> None:
    """Blocks of ten minutes of UTC, as the detector cuts them."""
    step = np.diff(samples.time) / np.timedelta64(1, "s")
    if not step.size or float(np.median(step)) > BLOCK_INTERVAL_S:
        return
    number = samples.time.astype("datetime64[s]").astype(np.int64) // BLOCK_S
    _, row = np.unique(number, return_inverse=True)
    steady = _steady(known) & known.valve_open
    total = np.bincount(row)
    held = np.bincount(row, weights=steady)
    hunts = np.bincount(row, weights=steady & known.hunting)
    usable = held >= STEADY_SHARE * total
    share = np.divide(hunts, held, out=np.zeros(held.size), where=held > 0)
    is_so, is_not = usable & (share >= HUNTING_SHARE), usable & (share <= QUIET_SHARE)
    said = np.full(total.size, -1, dtype=np.int8)
    np.maximum.at(said, row, found.hunting)
    counts["blocks"] += int(usable.sum())
    counts["blocks undecided"] += int((usable & ~is_so & ~is_not).sum())
    counts["blocks unjudged"] += int(((is_so | is_not) & (said < 0)).sum())
    counts["hunting found"] += int((is_so & (said == 1)).sum())
    counts["hunting missed"] += int((is_so & (said == 0)).sum())
    counts["quiet called hunting"] += int((is_not & (said == 1)).sum())
    counts["quiet"] += int((is_not & (said == 0)).sum())


def _flow(counts: Counter[str], found: Analysis, known: Known) -> NDArray[np.int64]:
    true = known.flow_kg_s
    quantified = np.isfinite(found.liquid_flow_kg_s) & (true > 1e-4)
    inside = (found.liquid_flow_low_kg_s <= true) & (true <= found.liquid_flow_high_kg_s)
    counts["flow"] += int((known.running & (true > 1e-4)).sum())
    counts["flow quantified"] += int(quantified.sum())
    counts["flow inside"] += int((quantified & inside).sum())
    relative = np.abs(found.liquid_flow_kg_s[quantified] / true[quantified] - 1.0)
    return np.histogram(relative, FLOW_BINS)[0]


def ideal_subcooling_k(tally: Tally) -> float:
    """Mean true subcooling to the indoor units plus what the sensors add: the best reading."""
    n = tally.counts["steady to indoor"]
    return tally.sums["true to indoor"] / n + tally.sums["standing to indoor"] if n else np.nan


def stated_error(sums: dict[str, float], counts: Counter[str]) -> tuple[FloatArray, FloatArray]:
    """Number of answers and sums of errors and squares, both ways together: shapes (), (2,)."""
    ways = ("to indoor", "to outdoor")
    n = np.array(sum(counts[f"answered {way}"] for way in ways), dtype=np.float64)
    return n, np.array(
        [
            sum(sums[f"error {way}"] for way in ways),
            sum(sums[f"error squared {way}"] for way in ways),
        ]
    )
