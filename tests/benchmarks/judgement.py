"""How good the judgement is, on simulated systems whose seeds no number was chosen on.

    python -m tests.benchmarks.judgement --seed 90210 --systems 72 --days 7

Systems, not rows, are drawn; each is simulated, analysed day by day as the product does, and
judged as of its last moment. Intervals are 95 % (Wilson).
"""

from __future__ import annotations

import argparse
import sys
from collections import Counter
from collections.abc import Iterable
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field

import numpy as np
from statsmodels.stats.proportion import proportion_confint

from diagnostics import verdict
from diagnostics.analyse import Analysis
from diagnostics.plant import Plant
from diagnostics.windows import Windows
from fixtures.fleets import draw
from fixtures.simulator.simulate import simulate
from fixtures.simulator.spec import SystemSpec
from fixtures.simulator.truth import Truth
from tests.benchmarks.analysed import by_days
from tests.diagnostics.simulated import samples_and_plant

TUNING_SEED = 1
"""weights.toml and every threshold were chosen on this seed only."""


@dataclass(frozen=True)
class Outcome:
    """What one system came to: its true condition, the verdict, and counts over its samples."""

    truth: str
    faults: tuple[str, ...]
    severity: float
    lookalike: str
    conditions: dict[str, float]
    leading: str
    coverage: float
    why: str
    counts: Counter[str]
    squares: dict[str, float]
    windows: Windows = field(repr=False)
    plant: Plant = field(repr=False)


def examine(spec: SystemSpec) -> Outcome:
    """Simulate, analyse and judge one system, and hold it against its truth."""
    recording = simulate(spec)
    samples, plant = samples_and_plant(recording, spec)
    found = by_days(samples, plant)
    end = samples.time[-1] + np.timedelta64(1, "s")
    judged = verdict.judge(found.windows, plant, end)
    counts, squares = _hold_against(found, recording.truth)
    return Outcome(
        truth=recording.truth.condition,
        faults=tuple(fault.kind for fault in spec.faults),
        severity=spec.faults[0].severity if spec.faults else 0.0,
        lookalike=",".join(spec.lookalikes),
        conditions=dict(judged.conditions),
        leading=judged.leading,
        coverage=judged.coverage,
        why=judged.why,
        counts=counts,
        squares=squares,
        windows=found.windows,
        plant=plant,
    )


def _hold_against(found: Analysis, truth: Truth) -> tuple[Counter[str], dict[str, float]]:
    """Counts and sums of squares of one system's samples; see ``table`` for their meaning."""
    direction, true = found.direction, truth.direction
    running = np.isin(found.state, (2, 3, 4)) & (true != 0)
    clear = running & truth.valve_open & (truth.drop_k >= 2.0)
    answered = direction != 0
    right = answered & (direction == true)
    error = found.subcooling_k - truth.upstream_subcooling_k
    measured = np.isfinite(error) & truth.steady & found.steady & running
    good = measured & right
    counts = Counter(
        {
            "clear": int(clear.sum()),
            "clear answered": int((clear & answered).sum()),
            "clear right": int((clear & right).sum()),
            "other": int((running & ~clear).sum()),
            "other answered": int((running & ~clear & answered).sum()),
            "other right": int((running & ~clear & right).sum()),
            "steady measured": int(measured.sum()),
            "steady wrong side": int((measured & ~right).sum()),
            "steady right": int(good.sum()),
        }
    )
    judged = found.hunting >= 0
    said, is_so = found.hunting == 1, truth.hunting
    counts["hunting found"] = int((judged & said & is_so).sum())
    counts["hunting said"] = int((judged & said).sum())
    counts["hunting true"] = int((judged & is_so).sum())
    flow = np.isfinite(found.liquid_flow_kg_s) & (truth.liquid_flow_kg_s > 1e-4)
    inside = (found.liquid_flow_low_kg_s <= truth.liquid_flow_kg_s) & (
        truth.liquid_flow_kg_s <= found.liquid_flow_high_kg_s
    )
    counts["flow quantified"] = int(flow.sum())
    counts["flow inside"] = int((flow & inside).sum())
    relative = np.abs(found.liquid_flow_kg_s[flow] / truth.liquid_flow_kg_s[flow] - 1.0)
    squares = {
        "subcooling": float((error[good] ** 2).sum()),
        "subcooling bias": float(error[good].sum()),
        "flow median error": float(np.median(relative)) if flow.any() else float("nan"),
    }
    return counts, squares


def run(seed: int, systems: int, days: float, workers: int = 2) -> list[Outcome]:
    """Examine a fleet drawn from one seed."""
    specs = draw(seed, systems, days=days)
    with ProcessPoolExecutor(workers) as pool:
        return list(pool.map(examine, specs))


QUIET = ("normal", "not_enough_data")


def table(outcomes: list[Outcome]) -> Iterable[str]:
    """The lines of the report."""
    yield from _samples(outcomes)
    healthy = [o for o in outcomes if o.truth == "normal"]
    faulty = [o for o in outcomes if o.truth != "normal"]
    called = [o for o in faulty if o.leading not in QUIET]
    false = sum(o.leading not in QUIET for o in healthy)
    yield _share("false alarms, healthy systems", false, len(healthy))
    yield _share("missed, faulty systems", len(faulty) - len(called), len(faulty))
    wrong = sum(o.leading != o.truth for o in called)
    yield _share("misdiagnosed, of those called", wrong, len(called))
    yield _share("no answer", sum(o.leading == "not_enough_data" for o in outcomes), len(outcomes))
    yield from _ladder(outcomes)
    yield from _calibration(outcomes)


def _ladder(outcomes: list[Outcome]) -> Iterable[str]:
    """Charge faults found, by severity."""
    for truth in ("undercharge", "overcharge"):
        for step in (10, 20, 30, 40):
            rung = [
                o for o in outcomes if o.truth == truth and abs(abs(o.severity) * 100 - step) <= 6
            ]
            found = sum(o.leading == truth for o in rung)
            yield _share(f"found, {truth} of about {step} %", found, len(rung))


def _calibration(outcomes: list[Outcome]) -> Iterable[str]:
    """Brier score of six conditions, its skill over the base rates, calibration of the leading."""
    stated = np.array([list(o.conditions.values()) for o in outcomes])
    names = list(outcomes[0].conditions)
    true = np.array([[name == o.truth for name in names] for o in outcomes], dtype=float)
    brier = ((stated - true) ** 2).sum(axis=1).mean()
    base = ((true.mean(axis=0) - true) ** 2).sum(axis=1).mean()
    yield f"{'Brier score, skill over base rates':46} {brier:8.3f} {1 - brier / base:8.3f}"
    top, right = stated.max(axis=1), true[np.arange(len(true)), stated.argmax(axis=1)]
    error = 0.0
    for low in np.arange(0.0, 1.0, 0.1):
        inside = (top > low) & (top <= low + 0.1)
        if inside.any():
            error += inside.mean() * abs(top[inside].mean() - right[inside].mean())
    yield f"{'expected calibration error, ten bins':46} {error:8.3f}"


def _samples(outcomes: list[Outcome]) -> Iterable[str]:
    counts = sum((o.counts for o in outcomes), Counter())
    for kind, words in (("clear", "drop >= 2 K"), ("other", "other running")):
        yield _share(
            f"direction right, of answered ({words})",
            counts[f"{kind} right"],
            counts[f"{kind} answered"],
        )
        yield _share(
            f"direction undetermined ({words})",
            counts[kind] - counts[f"{kind} answered"],
            counts[kind],
        )
    yield _share(
        "wrong side, of steady measured", counts["steady wrong side"], counts["steady measured"]
    )
    sound = [o for o in outcomes if o.truth != "sensor_fault"]
    yield _subcooling("subcooling, RMS and bias, K, sound sensors", sound)
    yield _subcooling("subcooling, RMS and bias, K, all", outcomes)
    yield _share("hunting precision, samples", counts["hunting found"], counts["hunting said"])
    yield _share("hunting recall, samples", counts["hunting found"], counts["hunting true"])
    yield _share("flow bounds hold the truth", counts["flow inside"], counts["flow quantified"])
    medians = [o.squares["flow median error"] for o in outcomes]
    yield f"{'flow, median of median errors':46} {np.nanmedian(medians):8.1%}"


def _subcooling(words: str, outcomes: list[Outcome]) -> str:
    n = max(sum(o.counts["steady right"] for o in outcomes), 1)
    rms = np.sqrt(sum(o.squares["subcooling"] for o in outcomes) / n)
    bias = sum(o.squares["subcooling bias"] for o in outcomes) / n
    return f"{words:46} {rms:8.2f} {bias:+8.2f}"


def _share(words: str, part: int, whole: int) -> str:
    if not whole:
        return f"{words:46}        - (none)"
    low, high = proportion_confint(part, whole, method="wilson")
    return f"{words:46} {part / whole:8.2%}  [{low:.2%}, {high:.2%}]  {part} of {whole}"


def main() -> int:
    """Print the table, and with ``--systems-list`` every system's verdict."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seed", type=int, required=True)
    parser.add_argument("--systems", type=int, default=72)
    parser.add_argument("--days", type=float, default=7.0)
    parser.add_argument("--list", action="store_true", help="a line for every system")
    options = parser.parse_args()
    if options.seed == TUNING_SEED:
        sys.stderr.write("note: this seed was used for tuning; it proves nothing\n")
    outcomes = run(options.seed, options.systems, options.days)
    for outcome in outcomes if options.list else ():
        mark = " " if outcome.leading == outcome.truth else "*"
        sys.stdout.write(
            f"{mark} {outcome.truth:22} {','.join(outcome.faults) or outcome.lookalike:34} -> "
            f"{outcome.leading:22} {outcome.conditions.get(outcome.leading, 0):.2f} "
            f"{outcome.why[:110]}\n"
        )
    for line in table(outcomes):
        sys.stdout.write(line + "\n")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
