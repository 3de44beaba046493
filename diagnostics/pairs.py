"""Two conditions at once: whether a pair of faults explains the findings clearly better than one.

Faults are taken as independent of each other: their shifts of a finding add up, and so do the
variances they add to the normal one. Where a condition shows in a finding only in a share of the
systems, both, either and neither are mixed. The rules of ``weigh`` on families, hours and
tempering hold for pairs as for single conditions, because pairs are weighed as further columns.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from diagnostics import weigh
from diagnostics.findings import REGISTRY, Context, Measured, shown
from diagnostics.ledger import WORDS
from diagnostics.samples import FloatArray
from diagnostics.weigh import CONDITIONS, Likelihood, Weights
from diagnostics.windows import Windows

CLEARLY = 3.0
"""Natural logarithm of the odds against the best single condition at which a pair is named: 20 to
1, "strong" (Kass & Raftery, Journal of the American Statistical Association 90:773-795, 1995)."""

_OPPOSITES = (CONDITIONS.index("overcharge"), CONDITIONS.index("undercharge"))
PAIRS = tuple(pair for pair in combinations(range(1, len(CONDITIONS)), 2) if pair != _OPPOSITES)
"""Every pair of faults that can be together, as places in CONDITIONS."""

_PARTS = 4
_REASONS = 2
_LEAST_REASON = 0.5


@dataclass(frozen=True)
class Pair:
    """Two faults together.

    advantage: natural logarithm of the odds of the pair against the best single condition
    (``instead``, which may be ``normal``). first_findings, second_findings: names of the findings
    that need the first, or the second, strongest first.
    """

    first: str
    second: str
    advantage: float
    instead: str
    first_findings: tuple[str, ...]
    second_findings: tuple[str, ...]
    sentence: str

    @property
    def clear(self) -> bool:
        """Whether the pair explains the findings clearly better than one condition does."""
        return self.advantage > CLEARLY


def two_at_once(row: Windows, context: Context, weights: Weights) -> Pair | None:
    """The pair of faults that explains the first row clearly better than any one condition.

    row: pooled over the days judged, at least one row. None where one condition will do.
    """
    best = compare(row, context, weights)[0]
    return best if best.clear else None


def compare(row: Windows, context: Context, weights: Weights) -> tuple[Pair, ...]:
    """Every pair of faults against the best single condition, best first, for the first row."""
    row = row.rows(slice(0, 1))
    evidence = weigh.weigh(row, context, _with_pairs(weights))
    push = evidence.push[:, 0]
    singles, pairs = push[:, : len(CONDITIONS)], _together(push, weights)
    single_score = weights.prior + singles.sum(axis=0)
    best = int(np.argmax(single_score))
    score = _pair_prior(weights) + pairs.sum(axis=0)
    order = np.argsort(score)[::-1]
    return tuple(
        _pair(
            PAIRS[i],
            (float(score[i] - single_score[best]), CONDITIONS[best]),
            (pairs[:, i], singles),
            evidence.measured,
        )
        for i in order
    )


def _pair_prior(weights: Weights) -> FloatArray:
    """Log prior of each pair: independent faults, shape (pairs,)."""
    first, second = np.array(PAIRS).T
    return np.asarray(weights.prior[first] + weights.prior[second] - weights.prior[0])


def _with_pairs(weights: Weights) -> Weights:
    """The weights with four more columns for each pair: both show, either does, neither does."""
    columns = len(CONDITIONS) + _PARTS * len(PAIRS)
    return replace(
        weights,
        prior=np.concatenate([weights.prior, np.zeros(columns - len(CONDITIONS))]),
        likelihoods={name: _extended(entry) for name, entry in weights.likelihoods.items()},
    )


def _extended(entry: Likelihood) -> Likelihood:
    mean, variance = entry.mean, entry.spread**2
    first, second = np.array(PAIRS).T
    # A condition may narrow a finding; together they cannot be narrower than the narrower one.
    both = np.maximum(
        variance[first] + variance[second] - variance[0],
        np.minimum(variance[first], variance[second]),
    )
    means = (mean[first] + mean[second] - mean[0], mean[first], mean[second], 0 * first + mean[0])
    spreads = (
        np.sqrt(both),
        entry.spread[first],
        entry.spread[second],
        0 * first + entry.spread[0],
    )
    extra_mean, extra_spread = np.column_stack(means).ravel(), np.column_stack(spreads).ravel()
    return replace(
        entry,
        mean=np.concatenate([mean, extra_mean]),
        spread=np.concatenate([entry.spread, extra_spread]),
        share=np.concatenate([entry.share, np.ones(extra_mean.size)]),
    )


def _together(push: FloatArray, weights: Weights) -> FloatArray:
    """Push of each pair, (findings, singles and four parts a pair) -> (findings, pairs)."""
    first, second = np.array(PAIRS).T
    singles, parts = push[:, : len(CONDITIONS)], push[:, len(CONDITIONS) :]
    likelihoods = [weights.likelihoods[finding.name] for finding in REGISTRY]
    moved = np.array([_moved(entry) for entry in likelihoods])
    share = np.array([entry.share for entry in likelihoods])
    a, b = share[:, first], share[:, second]
    shares = np.stack([a * b, a * (1.0 - b), (1.0 - a) * b, (1.0 - a) * (1.0 - b)], axis=2)
    mixed = np.log((shares * np.exp(parts.reshape(shares.shape))).sum(axis=2))
    mixed = np.where(moved[:, first], mixed, singles[:, second])
    return np.asarray(np.where(moved[:, second], mixed, singles[:, first]))


def _moved(entry: Likelihood) -> NDArray[np.bool_]:
    """Whether each condition shows in this finding at all, shape (6,)."""
    moved = (entry.mean != entry.mean[0]) | (entry.spread != entry.spread[0])
    return np.asarray(moved)


def _pair(
    places: tuple[int, int],
    against: tuple[float, str],
    push: tuple[FloatArray, FloatArray],
    measured: tuple[Measured, ...],
) -> Pair:
    """The record of one pair. push: of the pair by finding, and of the single conditions."""
    first, second = places
    pair, singles = push
    needs_first, needs_second = (
        _needed(pair - singles[:, second]),
        _needed(pair - singles[:, first]),
    )
    names = tuple(CONDITIONS[place] for place in places)
    told = [
        f"{WORDS[name]}{_told(found, measured)}"
        for name, found in zip(names, (needs_first, needs_second), strict=True)
    ]
    return Pair(
        first=names[0],
        second=names[1],
        advantage=against[0],
        instead=against[1],
        first_findings=tuple(REGISTRY[i].name for i in needs_first),
        second_findings=tuple(REGISTRY[i].name for i in needs_second),
        sentence=f"Two conditions at once: {told[0]} and {told[1]}.",
    )


def _needed(gain: FloatArray) -> list[int]:
    """Places of the findings that gain most, strongest first."""
    return [int(i) for i in np.argsort(-gain)[:_REASONS] if gain[i] > _LEAST_REASON]


def _told(places: list[int], measured: tuple[Measured, ...]) -> str:
    """The findings in words, in brackets; empty without any."""
    phrases = [
        REGISTRY[i].phrase.format(
            measured=shown(REGISTRY[i], measured[i].value[0]),
            expected=shown(REGISTRY[i], measured[i].expected[0]),
        )
        for i in places
    ]
    return f" ({'; '.join(phrases)})" if phrases else ""
