"""What one further measurement on site would tell: the value of information, reading by reading.

Each reading's outcome is predicted under every hypothesis, from the likelihoods of the findings
and from what the data have shown already: a quantity that was measured well comes out the same
whatever is the matter, and is worth little; one that the log lacks, or that a wrong sensor may have
falsified, is worth more. The worth is the mutual information of the reading and the conditions, in
bits (Lindley, On a measure of the information provided by an experiment, Annals of Mathematical
Statistics 27:986-1005, 1956), by Gauss-Hermite quadrature under each hypothesis.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from diagnostics.findings import REGISTRY, Measured
from diagnostics.samples import FloatArray
from diagnostics.weighing.ledger import WAYS, WORDS
from diagnostics.weighing.onsite import READINGS, Off, Reading
from diagnostics.weighing.weigh import CONDITIONS, Evidence, Likelihood, Weights

LEAST_BITS = 0.05
_LEAST_GAIN, _LEAST_CHANGE = 0.01, 0.05
MOST = 3
_LEAST_SHARE = 1e-3
_LEAST_MASS = 0.04
_REPEATS = 0.3
"""A quantity taken again differs by this share of its healthy spread: another hour, other load."""

_NODES, _NODE_WEIGHTS = np.polynomial.hermite_e.hermegauss(9)
_NODE_WEIGHTS /= _NODE_WEIGHTS.sum()
_GRID = 241
_PLACES = {finding.name: i for i, finding in enumerate(REGISTRY)}


@dataclass(frozen=True)
class Step:
    """One measurement and what it would tell.

    points: which reading would point where. bits: expected information about the conditions. now,
    then: probability of the likeliest condition, as it is and as it would be on average. changes:
    probability that another condition would become the likeliest.
    """

    do: str
    points: tuple[str, ...] = ()
    bits: float = 0.0
    now: float = 0.0
    then: float = 0.0
    changes: float = 0.0


@dataclass(frozen=True, eq=False)
class _Predicted:
    """Readings under the hypotheses: mean, spread (readings, h); floor (readings,) of densities.

    zero: what is added to a mean to print it, shape (readings,).
    """

    mean: FloatArray
    spread: FloatArray
    floor: FloatArray
    zero: FloatArray

    def density(self, values: FloatArray) -> FloatArray:
        """Of values (readings, n) under every hypothesis, shape (readings, n, h)."""
        scaled = (values[:, :, None] - self.mean[:, None]) / self.spread[:, None]
        return np.asarray(
            np.exp(-0.5 * scaled**2) / self.spread[:, None] + self.floor[:, None, None]
        )


def settle(evidence: Evidence, weights: Weights) -> tuple[Step, ...]:
    """The measurements that would tell most about the first row, best first; none if none does."""
    kept = np.flatnonzero(evidence.shares[0] > _LEAST_SHARE)
    share = evidence.shares[0, kept] / evidence.shares[0, kept].sum()
    member = (weights.condition[kept, None] == np.arange(len(CONDITIONS))).astype(np.float64)
    predicted = _predicted(evidence, weights, kept)
    # Nodes of every hypothesis in turn, each as likely as its hypothesis makes it.
    values = predicted.mean[:, :, None] + predicted.spread[:, :, None] * _NODES
    mass = (share[:, None] * _NODE_WEIGHTS).ravel()
    told = _posterior(predicted.density(values.reshape(len(READINGS), -1)), share, member)
    before = share @ member
    bits = _entropy(before) - _entropy(told) @ mass
    then = told.max(axis=2) @ mass
    changes = (told.argmax(axis=2) != before.argmax()) @ mass
    tells = (bits > LEAST_BITS) & ((then - before.max() > _LEAST_GAIN) | (changes > _LEAST_CHANGE))
    best = [int(i) for i in np.argsort(-bits, kind="stable") if tells[i]][:MOST]
    ways = tuple(weights.hypotheses[i] for i in kept)
    return tuple(
        Step(
            do=READINGS[i].do,
            points=_points(i, predicted, share, _Names(member, ways)),
            bits=float(bits[i]),
            now=float(before.max()),
            then=float(then[i]),
            changes=float(changes[i]),
        )
        for i in best
    )


def _posterior(density: FloatArray, share: FloatArray, member: FloatArray) -> FloatArray:
    """Of the conditions, for densities (..., h)."""
    joint = density * share
    return np.asarray((joint @ member) / joint.sum(axis=-1, keepdims=True))


def _entropy(probabilities: FloatArray) -> FloatArray:
    """In bits, over the last axis."""
    return np.asarray(-(probabilities * np.log2(probabilities + 1e-12)).sum(axis=-1))


def _predicted(evidence: Evidence, weights: Weights, kept: NDArray[np.intp]) -> _Predicted:
    rows = [_reading(reading, evidence.measured, weights) for reading in READINGS]
    mean = np.array([row[0] for row in rows])[:, kept]
    spread = np.array([row[1] for row in rows])[:, kept]
    width = (mean + 4.0 * spread).max(axis=1) - (mean - 4.0 * spread).min(axis=1)
    floor = np.sqrt(2.0 * np.pi) * weights.floor_share / width
    zero = np.array([_zero(reading, evidence.measured) for reading in READINGS])
    return _Predicted(mean, spread, floor, zero)


def _reading(
    reading: Reading, measured: tuple[Measured, ...], weights: Weights
) -> tuple[FloatArray, FloatArray]:
    """Mean and spread of a reading under every hypothesis, each shape (h,)."""
    size = len(weights.hypotheses)
    if reading.finding:
        mean, spread = _again(reading, measured, weights)
    elif reading.own:
        rows = [reading.own.get(name, reading.own["normal"]) for name in weights.hypotheses]
        normal = reading.own["normal"]
        pairs = [
            _mixed((it.mean, it.spread), (normal.mean, normal.spread), it.share) for it in rows
        ]
        mean, spread = (np.array(column) for column in zip(*pairs, strict=True))
    else:
        mean, spread = np.zeros(size), np.zeros(size)
        for place, name in enumerate(weights.hypotheses):
            if name in reading.off:
                mean[place], spread[place] = _off(reading.off[name], place, measured, weights)
    return mean, np.hypot(spread, reading.sigma)


def _again(
    reading: Reading, measured: tuple[Measured, ...], weights: Weights
) -> tuple[FloatArray, FloatArray]:
    """A finding's quantity taken again: what the table expects, held to what was logged."""
    entry = weights.likelihoods[reading.finding]
    normal = (entry.mean[0], entry.spread[0])
    mean, spread = _mixed((entry.mean, entry.spread), normal, entry.share)
    logged = measured[_PLACES[reading.finding]]
    mean, spread = _held(mean, spread, logged, entry)
    blind = np.array([name in reading.blind for name in weights.hypotheses])
    return np.where(blind, normal[0], mean), np.where(blind, normal[1], spread)


def _held(
    mean: FloatArray, spread: FloatArray, logged: Measured, entry: Likelihood
) -> tuple[FloatArray, FloatArray]:
    """Normal distributions after a logged deviation, which counts by the hours behind it."""
    deviation, sigma = logged.deviation[0], logged.sigma[0]
    if not (np.isfinite(deviation) and np.isfinite(sigma)):
        return mean, spread
    seconds = logged.resting_s[0]
    weight = seconds / (seconds + entry.half_s) / (sigma**2 + (_REPEATS * entry.spread[0]) ** 2)
    precision = spread**-2.0 + weight
    held = (mean * spread**-2.0 + deviation * weight) / precision
    return held, np.sqrt(1.0 / precision + (_REPEATS * entry.spread[0]) ** 2)


def _off(
    off: Off, place: int, measured: tuple[Measured, ...], weights: Weights
) -> tuple[float, float]:
    """By how much a logged reading is off under one hypothesis: mean and spread."""
    entry = weights.likelihoods[off.finding]
    mean, spread = _held(
        entry.mean[place : place + 1],
        entry.spread[place : place + 1],
        measured[_PLACES[off.finding]],
        entry,
    )
    return off.sign * abs(float(mean[0])), float(spread[0])


def _mixed(
    one: tuple[FloatArray | float, FloatArray | float],
    other: tuple[float, float],
    share: FloatArray | float,
) -> tuple[FloatArray, FloatArray]:
    """Mean and spread of a mixture: ``share`` of one, the rest of the other."""
    mean = np.asarray(share * one[0] + (1.0 - share) * other[0])
    square = share * (one[0] ** 2 + one[1] ** 2) + (1.0 - share) * (other[0] ** 2 + other[1] ** 2)
    return mean, np.sqrt(np.maximum(square - mean**2, 0.0))


def _zero(reading: Reading, measured: tuple[Measured, ...]) -> float:
    """What stands at a deviation of 0: the expected value, NaN where it is not known."""
    if not reading.finding:
        return 0.0
    return float(measured[_PLACES[reading.finding]].expected[0])


@dataclass(frozen=True, eq=False)
class _Names:
    """Of the hypotheses kept: conditions as columns of 0 and 1, shape (h, 6), and their names."""

    member: FloatArray
    ways: tuple[str, ...]

    def words(self, condition: int, mass: FloatArray) -> str:
        """A condition in words, with the way of it that has most of ``mass``, shape (h,)."""
        name = self.ways[int(np.argmax(mass * self.member[:, condition]))]
        way = f" ({WAYS[name]})" if name in WAYS else ""
        return (WORDS[CONDITIONS[condition]] if condition else "no fault") + way


def _points(which: int, predicted: _Predicted, share: FloatArray, names: _Names) -> tuple[str, ...]:
    """Which reading would point where, lowest first."""
    reading, zero = READINGS[which], float(predicted.zero[which])
    mean, spread = predicted.mean[which], predicted.spread[which]
    likely = share > 10.0 * _LEAST_SHARE
    low, high = (mean - 3.0 * spread)[likely].min(), (mean + 3.0 * spread)[likely].max()
    if reading.unit == "share" and np.isfinite(zero):
        low, high = max(low, -zero), min(high, 1.0 - zero)
    values = np.linspace(low, high, _GRID)
    one = _Predicted(mean[None], spread[None], predicted.floor[which : which + 1], np.zeros(1))
    joint = one.density(values[None])[0] * share
    runs = _runs(joint, names.member, values, lambda value: _printed(value, reading, zero))
    return tuple(f"{reading.reads} {where}: {_pointed(joint[at], names)}" for at, where in runs)


def _pointed(joint: FloatArray, names: _Names) -> str:
    """The likeliest condition where the reading comes out in one stretch, and how sure."""
    mass = joint.sum(axis=0)
    told = mass @ names.member / mass.sum()
    condition = int(np.argmax(told))
    return f"{names.words(condition, mass)}, {told[condition]:.0%}"


def _runs(
    joint: FloatArray, member: FloatArray, values: FloatArray, printed: Callable[[float], str]
) -> list[tuple[NDArray[np.intp], str]]:
    """Stretches of the reading in which one condition is likeliest, in words, lowest first.

    Where it is the same one all over, two parts are told apart in which it is most unlike likely.
    """
    likeliest, mass = (joint @ member).argmax(axis=1), joint.sum(axis=1) / joint.sum()
    parts = np.split(np.arange(values.size), np.flatnonzero(np.diff(likeliest)) + 1)
    while len(parts) > 1 and (weak := _weak(parts, likeliest, mass)) is not None:
        beside = [i for i in (weak - 1, weak + 1) if 0 <= i < len(parts)]
        into = max(beside, key=lambda i: float(mass[parts[i]].sum()))
        likeliest[parts[weak]] = likeliest[parts[into][0]]
        parts = np.split(np.arange(values.size), np.flatnonzero(np.diff(likeliest)) + 1)
    if len(parts) == 1:
        half = _best_split(joint, member, mass)
        parts = [np.arange(half), np.arange(half, values.size)]
    bounds = [printed(float(values[part[0]])) for part in parts[1:]]
    told = [f"below {bounds[0]}"]
    told += [f"{low} to {high}" for low, high in pairwise(bounds)]
    return list(zip(parts, [*told, f"above {bounds[-1]}"], strict=True))


def _best_split(joint: FloatArray, member: FloatArray, mass: FloatArray) -> int:
    """Where to cut so that the probabilities below and above differ most."""
    below, under = np.cumsum(joint @ member, axis=0), np.cumsum(mass)
    total = below[-1]
    usable = (under > _LEAST_MASS) & (under < 1.0 - _LEAST_MASS)
    with np.errstate(invalid="ignore", divide="ignore"):
        low = below / below.sum(axis=1, keepdims=True)
        high = (total - below) / (total - below).sum(axis=1, keepdims=True)
        worth = under * (1.0 - under) * ((low - high) ** 2).sum(axis=1)
    return int(np.argmax(np.where(usable, worth, -1.0))) + 1


def _weak(
    parts: list[NDArray[np.intp]], likeliest: NDArray[np.intp], mass: FloatArray
) -> int | None:
    """The stretch with least mass that is too unlikely to speak of, or in which a condition is
    likeliest that has a heavier stretch: the far tail of a wide distribution."""
    size = [float(mass[part].sum()) for part in parts]
    for i in np.argsort(size):
        same = [j for j, part in enumerate(parts) if likeliest[part[0]] == likeliest[parts[i][0]]]
        if size[i] < _LEAST_MASS or size[i] < max(size[j] for j in same):
            return int(i)
    return None


def _printed(deviation: float, reading: Reading, zero: float) -> str:
    """A reading with its unit, no finer than the instruments; against what is usual where that is
    not known."""
    usual = "" if np.isfinite(zero) else " over the usual"
    value = deviation + (zero if np.isfinite(zero) else 0.0)
    if reading.unit == "kPa":
        return f"{round(value, -1) + 0.0:.0f} kPa{usual}"
    if reading.unit == "ratio":
        return f"{np.exp(value):.0%}{usual}"
    if reading.unit == "share":
        return f"{value:.0%}{usual}"
    digits = int(reading.sigma < 1.0 and abs(value) < 3.0)
    return f"{round(value, digits) + 0.0:.{digits}f} K{usual}"
