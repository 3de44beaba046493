"""Whether stated probabilities come true."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
from numpy.typing import NDArray

from diagnostics.samples import FloatArray
from diagnostics.verdict import NOT_ENOUGH_DATA
from diagnostics.weighing.weigh import CONDITIONS
from tests.benchmarks.judgement import figures
from tests.benchmarks.judgement.examine import Outcome
from tests.benchmarks.judgement.figures import Figure

BINS = 10
_IDEAL_REPEATS = 2000


def figures_of(outcomes: list[Outcome]) -> Iterable[Figure]:
    """Brier score, its skill and the expected calibration error.

    The Brier score and its skill are of the six conditions over systems with at most one fault,
    skill against stating this fleet's own base rates. The calibration error is of the condition
    that leads; with two faults either is right.
    """
    single = [o for o in outcomes if len(o.truths) == 1]
    scores, true = _brier_rows(single)
    yield figures.pooled(
        "Brier score (0 best, six conditions)", scores, lambda s: s[..., 0] / s[..., 1]
    )
    yield _skill(scores, true).against(figures.least(0.7))
    yield _calibration_error(outcomes).against(figures.most(0.05))
    yield _ideal_error(outcomes)


def reliability(outcomes: list[Outcome]) -> Iterable[str]:
    """Per decile of the probability stated for what leads: count, mean stated, share right."""
    stated, right = _led(outcomes)
    yield f"{'stated for what leads':24}{'systems':>9}{'mean stated':>13}{'came true':>11}"
    for low, inside in _deciles(stated):
        if inside.any():
            hit = figures.systems("", right[inside].tolist())
            yield (
                f"{f'{low:.1f} to {low + 0.1:.1f}':24}{inside.sum():9}{stated[inside].mean():13.3f}"
                f"{hit.value:11.3f}  [{hit.low:.3f}, {hit.high:.3f}]"
            )


def brier(outcome: Outcome) -> float:
    """Squared errors of the stated probabilities, summed over the conditions."""
    return sum((p - (name == outcome.truth)) ** 2 for name, p in outcome.conditions.items())


def _brier_rows(outcomes: list[Outcome]) -> tuple[FloatArray, FloatArray]:
    """Score and count of every system, shape (k, 2), and its true condition, shape (k, 6)."""
    true = [[name == o.truth for name in CONDITIONS] for o in outcomes]
    rows = [[brier(o), 1.0] for o in outcomes]
    return np.array(rows).reshape(-1, 2), np.array(true, dtype=np.float64).reshape(-1, 6)


def _skill(scores: FloatArray, true: FloatArray) -> Figure:
    """1 less the score over the one of base rates, which is 1 less the sum of their squares."""
    rows = np.column_stack([scores, true])

    def of(total: FloatArray) -> FloatArray:
        rates = total[..., 2:] / total[..., 1:2]
        return 1.0 - total[..., 0] / total[..., 1] / (1.0 - (rates**2).sum(axis=-1))

    return figures.pooled("Brier skill over the base rates", rows, of)


def _led(outcomes: list[Outcome]) -> tuple[FloatArray, NDArray[np.bool_]]:
    answered = [o for o in outcomes if o.leading != NOT_ENOUGH_DATA]
    return np.array([o.stated for o in answered]), np.array([o.right for o in answered], dtype=bool)


def _deciles(stated: FloatArray) -> Iterable[tuple[float, NDArray[np.bool_]]]:
    place = np.clip(np.floor(stated * BINS), 0, BINS - 1)
    return ((i / BINS, place == i) for i in range(BINS))


def _calibration_error(outcomes: list[Outcome]) -> Figure:
    stated, right = _led(outcomes)
    inside = np.array([mask for _, mask in _deciles(stated)], dtype=np.float64)
    gap = (stated - right)[:, None] * inside.T
    rows = np.column_stack([gap, np.ones(len(stated))])
    return figures.pooled(
        "expected calibration error of what leads, ten bins",
        rows,
        lambda total: np.abs(total[..., :-1]).sum(axis=-1) / total[..., -1],
    )


def _ideal_error(outcomes: list[Outcome]) -> Figure:
    """What a judge whose probabilities all come true would show with so few systems."""
    stated, _ = _led(outcomes)
    words = "  limit: the same of a perfectly calibrated judge"
    if not stated.size:
        return Figure(words, np.nan, np.nan, np.nan, "none", ".3f")
    rng = np.random.default_rng(0)
    came = rng.random((_IDEAL_REPEATS, stated.size)) < stated
    error = np.zeros(_IDEAL_REPEATS)
    for _, inside in _deciles(stated):
        error += np.abs((stated - came)[:, inside].sum(axis=1)) / stated.size
    low, high = np.quantile(error, (0.025, 0.975))
    return Figure(words, float(error.mean()), float(low), float(high), "by chance alone", ".3f")
