"""The exam: every figure with its interval and, where there is one, its bar."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

import numpy as np

from diagnostics.samples import FloatArray
from diagnostics.verdict import NOT_ENOUGH_DATA
from tests.benchmarks.judgement import calibration, figures, groups
from tests.benchmarks.judgement.examine import Outcome
from tests.benchmarks.judgement.figures import Figure, least, most
from tests.benchmarks.judgement.held import FLOW_BINS, ideal_subcooling_k, stated_error

ENOUGH_DEMAND_H = 5.0
"""Hours in the week with 60 % of the capacity asking: an overfilled system shows under demand."""

WAYS = ("to indoor", "to outdoor")
RUNG_BARS = {"undercharge 30 %": 0.95, "undercharge 20 %": 0.8, "overcharge 30 %": 0.9}
_FALSE_ALARM_SHARE = 0.01
"""Of healthy systems in the limit of a threshold on the subcooling alone."""

Section = tuple[str, list[Figure]]


def sections(outcomes: list[Outcome]) -> Iterable[Section]:
    """All figures, in the order in which they are printed."""
    fleet = [o for o in outcomes if o.group == groups.FLEET]
    yield "Verdicts", list(verdicts(fleet, [o for o in outcomes if o.healthy]))
    wired = [o for o in outcomes if o.group == groups.WIRES]
    yield "Two thermistors' wires swapped, on healthy systems", list(wires(wired))
    yield "Charge found in one week", list(rungs(outcomes))
    yield "Probabilities", list(calibration.figures_of(fleet))
    yield "Direction of the liquid", list(direction(outcomes))
    yield "Subcooling before the subcooler", list(subcooling(outcomes))
    yield "Hunting, blocks of ten minutes, logged every 15 s or faster", list(hunting(fleet))
    yield "Liquid flow", list(flow(fleet))


def verdicts(fleet: list[Outcome], healthy: list[Outcome]) -> Iterable[Figure]:
    """False alarms, missed, misdiagnosed, no answer; with two faults at once either is right.

    healthy: all groups' healthy systems, look-alikes among them.
    """
    weeks = [o.weeks for o in healthy]
    alarms = [float(o.called) for o in healthy]
    yield figures.ratio("false alarms a healthy system-week", alarms, weeks).against(most(0.01))
    disguised = [o for o in healthy if o.lookalikes]
    yield figures.systems("  of look-alikes", (o.called for o in disguised))
    faulty = [o for o in fleet if not o.healthy]
    called = [o for o in faulty if o.called]
    yield figures.systems("missed, faulty systems", (not o.called for o in faulty))
    yield figures.systems("misdiagnosed, of the faulty that are called",
                          (not o.right for o in called)).against(most(0.08))  # fmt: skip
    yield figures.systems("no answer", (o.leading == NOT_ENOUGH_DATA for o in fleet))
    yield figures.systems("a wrong fault called at 0.8 or more",
                          (o.confidently_wrong for o in fleet))  # fmt: skip
    two = [o for o in faulty if len(o.truths) > 1]
    yield figures.systems("two faults at once: what leads is one of them", (o.right for o in two))
    yield figures.systems(
        "  and the second named is the other",
        (bool(o.second) and {o.leading, o.second} == set(o.truths) for o in two),
    )
    alone = [o for o in fleet if len(o.truths) == 1]
    yield figures.systems(
        "one fault or none: a second one is named", (bool(o.second) for o in alone)
    )


def wires(outcomes: list[Outcome]) -> Iterable[Figure]:
    """What is called of systems with nothing wrong but two wires: a sensor fault, or nothing."""
    yield figures.systems("called a sensor fault", (o.called and o.right for o in outcomes))
    wrong = figures.systems(
        "called a fault of the plant", (o.called and not o.right for o in outcomes)
    )
    yield wrong
    yield figures.systems(
        "the same at 0.8 or more", (o.confidently_wrong for o in outcomes)
    ).against(most(0.02))


def rungs(outcomes: list[Outcome]) -> Iterable[Figure]:
    """Found at each rung, and how well a threshold on the best reading of a week would do."""
    healthy = _ideal([o for o in outcomes if o.healthy])
    for name, severity in groups.RUNGS.items():
        own = [o for o in outcomes if o.group == name]
        condition, percent = name.split(" ", 1)
        words = f"{condition} of {percent}"
        if severity > 0:
            own = [o for o in own if o.demand_h >= ENOUGH_DEMAND_H]
            words += f", {ENOUGH_DEMAND_H:.0f} h of high demand"
        figure = figures.systems(words, (o.leading == condition for o in own))
        yield figure.against(least(RUNG_BARS[name])) if name in RUNG_BARS else figure
        yield _limit(healthy, _ideal(own), np.sign(severity))


def _ideal(outcomes: list[Outcome]) -> FloatArray:
    read = np.array([ideal_subcooling_k(o.tally) for o in outcomes])
    return read[np.isfinite(read)]


def _limit(healthy: FloatArray, faulty: FloatArray, sign: float) -> Figure:
    """Share beyond the threshold that one healthy system in a hundred passes.

    Of the week's mean subcooling in steady operation towards the rooms, read at the true point with
    these sensors: what subcooling alone can tell of systems without a past.
    """
    words = "  limit: subcooling alone, 1 % of healthy beyond"
    if not healthy.size or not faulty.size:
        return Figure(words, np.nan, np.nan, np.nan, "none")
    threshold = np.quantile(sign * healthy, 1.0 - _FALSE_ALARM_SHARE)
    return figures.systems(words, (sign * faulty > threshold).tolist())


def direction(outcomes: list[Outcome]) -> Iterable[Figure]:
    """Right of the answered, and answered, by class of sensors; pooled over samples."""
    bars = {groups.CLEAR: (0.999, 0.98), groups.BIASED: (0.995, 0.95)}
    names = {groups.CLEAR: "0.3 K sensors", groups.BIASED: "sensors biased up to 1 K"}
    for group, (right, answered) in bars.items():
        own = [o for o in outcomes if o.group == group]
        yield _right(f"drop >= 2 K, {names[group]}: right", own, "clear").against(least(right))
        yield _answered("  answered", own, "clear").against(least(answered))
    sound = _sound([o for o in outcomes if o.group == groups.FLEET])
    yield _right("other running samples: right", sound, "other").against(least(0.98))
    yield _answered("  answered", sound, "other").against(least(0.5))
    yield _right("drop >= 2 K, sensors as drawn: right", sound, "clear")
    yield _answered("  answered", sound, "clear")
    yield _right("cooling and heating at once: right", sound, "both")
    yield _answered("  answered", sound, "both")
    yield figures.ratio(
        "no net flow, yet a direction is stated",
        (o.tally.counts["no flow answered"] for o in sound),
        (o.tally.counts["no flow"] for o in sound),
    )


def _right(words: str, outcomes: list[Outcome], kind: str) -> Figure:
    counts = [o.tally.counts for o in outcomes]
    return figures.ratio(
        words, (c[f"{kind} right"] for c in counts), (c[f"{kind} answered"] for c in counts)
    )


def _answered(words: str, outcomes: list[Outcome], kind: str) -> Figure:
    counts = [o.tally.counts for o in outcomes]
    return figures.ratio(words, (c[f"{kind} answered"] for c in counts), (c[kind] for c in counts))


def _sound(outcomes: list[Outcome]) -> list[Outcome]:
    """Systems whose sensors are as good as their class."""
    return [o for o in outcomes if "sensor_fault" not in o.truths]


def subcooling(outcomes: list[Outcome]) -> Iterable[Figure]:
    """Errors of what is stated in truly steady operation, at the right point or not."""
    fleet = [o for o in outcomes if o.group == groups.FLEET]
    class_a = [o for o in outcomes if o.group == groups.CLASS_A]
    for words, own, bar in (
        ("stated at the wrong point, sound sensors", _sound(fleet), most(0.001)),
        ("stated at the wrong point, all", fleet, None),
    ):
        counts = [o.tally.counts for o in own]
        figure = figures.ratio(
            words, (c["wrong point"] for c in counts), (c["steady answered"] for c in counts)
        )
        yield figure.against(bar) if bar else figure
    yield _rms("RMS, class A thermistors, 0.5 % transducer [K]", class_a).against(most(0.5))
    yield _standing("  limit: standing error of sensors and manifest", class_a, WAYS)
    for way in WAYS:
        yield _way_rms(class_a, way)
        yield _standing("    limit", class_a, (way,))
    yield _bias("|bias|, the same [K]", class_a).against(most(0.2))
    told = [o for o in class_a if o.heights_told]
    yield _rms("RMS, class A, heights of the rooms in the manifest [K]", told)
    yield _standing("  limit: standing error of sensors", told, WAYS)
    yield _rms("RMS, sensors as drawn, sound [K]", _sound(fleet))
    yield _bias("|bias|, the same [K]", _sound(fleet))


def _error_rows(outcomes: list[Outcome]) -> FloatArray:
    rows = []
    for o in outcomes:
        n, sums = stated_error(o.tally.sums, o.tally.counts)
        rows.append([float(n), *sums.tolist()])
    return np.array(rows).reshape(-1, 3)


def _rms(words: str, outcomes: list[Outcome]) -> Figure:
    return figures.pooled(
        words, _error_rows(outcomes), lambda s: np.sqrt(s[..., 2] / s[..., 0]), ".2f"
    )


def _bias(words: str, outcomes: list[Outcome]) -> Figure:
    signed = figures.pooled(words, _error_rows(outcomes), lambda s: s[..., 1] / s[..., 0], ".2f")
    low, high = sorted((abs(signed.low), abs(signed.high)))
    low = 0.0 if signed.low < 0 < signed.high else low
    note = f"{signed.value:+.2f} K; {signed.note}"
    return Figure(words, abs(signed.value), low, high, note, ".2f")


def _way_rms(outcomes: list[Outcome], way: str) -> Figure:
    rows = np.array(
        [
            [o.tally.counts[f"answered {way}"], o.tally.sums[f"error squared {way}"]]
            for o in outcomes
        ]
    )
    return figures.pooled(
        f"  liquid {way}", rows.reshape(-1, 2), lambda s: np.sqrt(s[..., 1] / s[..., 0]), ".2f"
    )


def _standing(words: str, outcomes: list[Outcome], ways: tuple[str, ...]) -> Figure:
    """RMS of what sensors and manifest are off by, weighted as the answers are."""
    rows = [
        [o.tally.counts[f"answered {way}"], o.tally.sums[f"standing {way}"]]
        for o in outcomes
        for way in ways
        if np.isfinite(o.tally.sums[f"standing {way}"])
    ]
    made = np.array([[n, n * error**2] for n, error in rows]).reshape(-1, 2)
    figure = figures.pooled(words, made, lambda s: np.sqrt(s[..., 1] / s[..., 0]), ".2f")
    return replace(figure, note=f"{len(outcomes)} systems")


def hunting(outcomes: list[Outcome]) -> Iterable[Figure]:
    """Precision and recall over the judged blocks; see ``held`` for which blocks count."""
    counts = [o.tally.counts for o in outcomes if o.tally.counts["blocks"]]
    found = [c["hunting found"] for c in counts]
    yield figures.ratio(
        "precision",
        found,
        (c["hunting found"] + c["quiet called hunting"] for c in counts),
    ).against(least(0.95))
    yield figures.ratio(
        "recall", found, (c["hunting found"] + c["hunting missed"] for c in counts)
    ).against(least(0.95))
    blocks = [c["blocks"] for c in counts]
    yield figures.ratio(
        "true blocks that are neither", (c["blocks undecided"] for c in counts), blocks
    )
    yield figures.ratio("blocks not judged", (c["blocks unjudged"] for c in counts), blocks)


def flow(outcomes: list[Outcome]) -> Iterable[Figure]:
    """Median error where the flow is quantified, and how often its bounds hold the truth."""
    errors = np.array([o.tally.flow_errors for o in outcomes], dtype=np.float64)
    yield figures.pooled("median error where quantified", errors, _median, ".1%").against(
        most(0.15)
    )
    counts = [o.tally.counts for o in outcomes]
    quantified = [c["flow quantified"] for c in counts]
    inside = figures.ratio("bounds hold the truth", (c["flow inside"] for c in counts), quantified)
    yield inside.against(least(0.9))
    yield figures.ratio("quantified, of running samples with flow",
                        quantified, (c["flow"] for c in counts))  # fmt: skip


def _median(totals: FloatArray) -> FloatArray:
    """Median of histograms over FLOW_BINS, shape (..., bins) to (...)."""
    running = np.cumsum(totals, axis=-1)
    place = (running < 0.5 * running[..., -1:]).sum(axis=-1)
    return np.where(running[..., -1] > 0, FLOW_BINS[np.minimum(place, FLOW_BINS.size - 2)], np.nan)


def lines(outcomes: list[Outcome]) -> Iterable[str]:
    """The exam as text."""
    for title, made in sections(outcomes):
        yield ""
        yield title
        yield from (figure.line() for figure in made)
        if title == "Probabilities":
            yield from calibration.reliability([o for o in outcomes if o.group == groups.FLEET])
