"""Two conditions at once: whether a pair of faults explains the findings clearly better than one.

Faults are taken as independent of each other: their shifts of a finding add up, and so do the
variances they add to the normal one. Where a fault shows in a finding only in a share of the
systems, both, either and neither are mixed. Every hypothesis of one condition is paired with every
one of another. The rules of ``weigh`` on families, hours and tempering hold for pairs as for single
hypotheses, because pairs are weighed as further columns.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from diagnostics.findings import REGISTRY, Measured, shown
from diagnostics.samples import FloatArray
from diagnostics.weighing import weigh
from diagnostics.weighing.ledger import WORDS
from diagnostics.weighing.weigh import CONDITIONS, Likelihood, Weights

CLEARLY = 3.0
"""Natural logarithm of the odds against the best single condition at which a pair is named: 20 to
1, "strong" (Kass & Raftery, Journal of the American Statistical Association 90:773-795, 1995)."""

_OPPOSITES = {"overcharge", "undercharge"}
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
    first_phrases: tuple[str, ...]
    second_phrases: tuple[str, ...]

    @property
    def clear(self) -> bool:
        """Whether the pair explains the findings clearly better than one condition does."""
        return self.advantage > CLEARLY

    @property
    def sentence(self) -> str:
        """Both, each with the findings that need it."""
        first = _told(self.first, self.first_phrases)
        return f"Two conditions at once: {first} and {_told(self.second, self.second_phrases)}."

    def beside(self, leading: str) -> tuple[str, str]:
        """What is there besides the leading condition: its name, and in words with one finding.

        Where the leading condition is neither of the two, no name, and both in words.
        """
        others = {self.first: (self.second, self.second_phrases)}
        others[self.second] = (self.first, self.first_phrases)
        if leading not in others:
            return "", f"or two at once: {WORDS[self.first]} and {WORDS[self.second]}"
        name, phrases = others[leading]
        return name, f"perhaps also {_told(name, phrases[:1])}"


@dataclass(frozen=True, eq=False)
class _Said:
    """Of one row: push of the hypotheses (findings, h) and of their pairs (findings, pairs).

    ways: the pairs as places of hypotheses, shape (pairs, 2).
    """

    single: FloatArray
    both: FloatArray
    ways: NDArray[np.intp]
    measured: tuple[Measured, ...]


def two_at_once(measured: tuple[Measured, ...], weights: Weights) -> Pair | None:
    """The pair of faults that explains the first row clearly better than any one condition.

    measured: by ``weigh.measure``, of the days judged pooled into at least one row. None where one
    condition will do, or where no finding of its own speaks for each of the two.
    """
    best = compare(measured, weights)[0]
    return best if best.clear and best.first_findings and best.second_findings else None


def compare(measured: tuple[Measured, ...], weights: Weights) -> tuple[Pair, ...]:
    """Every pair of faults against the best single condition, best first, for the first row."""
    said = _weighed(measured, weights)
    first, second = said.ways.T
    single = weights.prior + said.single.sum(axis=0)
    # Independent faults: the prior odds of both are the product of each one's odds.
    prior = weights.prior[first] + weights.prior[second] - weights.prior[0]
    score = prior + said.both.sum(axis=0)
    instead, alone = _best_condition(single, weights)
    groups: dict[tuple[int, int], list[int]] = {}
    for place, way in enumerate(said.ways):
        a, b = weights.condition[way]
        groups.setdefault((int(a), int(b)), []).append(place)
    made = [
        _pair(
            (CONDITIONS[a], CONDITIONS[b]),
            (float(np.logaddexp.reduce(score[places])) - alone, instead),
            said,
            max(places, key=lambda place: float(score[place])),
        )
        for (a, b), places in groups.items()
    ]
    return tuple(sorted(made, key=lambda pair: -pair.advantage))


def _best_condition(score: FloatArray, weights: Weights) -> tuple[str, float]:
    """The likeliest condition and its log-odds, all its hypotheses together."""
    together = [np.logaddexp.reduce(score[weights.condition == i]) for i in range(len(CONDITIONS))]
    best = int(np.argmax(together))
    return CONDITIONS[best], float(together[best])


def _weighed(measured: tuple[Measured, ...], weights: Weights) -> _Said:
    size, (ways, extended) = len(weights.prior), _paired(weights)
    first = tuple(
        Measured(it.value[:1], it.expected[:1], it.sigma[:1], it.resting_s[:1]) for it in measured
    )
    push = weigh.combine(first, extended).push[:, 0]
    both = _together(push[:, :size], push[:, size:], weights, ways)
    return _Said(push[:, :size], both, ways, measured)


@lru_cache(maxsize=4)
def _paired(weights: Weights) -> tuple[NDArray[np.intp], Weights]:
    """The pairs of hypotheses, and the weights with the columns of their parts."""
    ways = _ways(weights)
    extra = _PARTS * len(ways)
    extended = replace(
        weights,
        hypotheses=(*weights.hypotheses, *map(str, range(extra))),
        condition=np.concatenate([weights.condition, np.zeros(extra, dtype=np.intp)]),
        prior=np.concatenate([weights.prior, np.zeros(extra)]),
        likelihoods={name: _extended(it, ways) for name, it in weights.likelihoods.items()},
    )
    return ways, extended


def _ways(weights: Weights) -> NDArray[np.intp]:
    """Pairs of hypotheses of two conditions that can be together, shape (pairs, 2)."""
    return np.array(
        [
            pair
            for pair in combinations(np.flatnonzero(weights.condition), 2)
            if len(names := {CONDITIONS[weights.condition[way]] for way in pair}) == 2
            and names != _OPPOSITES
        ]
    )


def _extended(entry: Likelihood, ways: NDArray[np.intp]) -> Likelihood:
    """The likelihood with four more columns for each pair: both show, either does, neither does."""
    (first, second), variance = ways.T, entry.spread**2
    a, b, normal = entry.mean[first], entry.mean[second], np.full(len(ways), entry.mean[0])
    # A fault may narrow a finding; together they cannot be narrower than the narrower one.
    both = np.maximum(
        variance[first] + variance[second] - variance[0],
        np.minimum(variance[first], variance[second]),
    )
    variances = (both, variance[first], variance[second], np.full(len(ways), variance[0]))
    mean = np.column_stack((a + b - normal, a, b, normal)).ravel()
    spread = np.sqrt(np.column_stack(variances)).ravel()
    return replace(
        entry,
        mean=np.concatenate([entry.mean, mean]),
        spread=np.concatenate([entry.spread, spread]),
        share=np.concatenate([entry.share, np.ones(mean.size)]),
    )


def _together(
    singles: FloatArray, parts: FloatArray, weights: Weights, ways: NDArray[np.intp]
) -> FloatArray:
    """Push of each pair from those of its four parts, (findings, 4 pairs) to (findings, pairs).

    A fault that does not show in a finding leaves it to the other.
    """
    first, second = ways.T
    likelihoods = [weights.likelihoods[finding.name] for finding in REGISTRY]
    moved = np.array([_moved(entry) for entry in likelihoods])
    share = np.array([entry.share for entry in likelihoods])
    a, b = share[:, first], share[:, second]
    shares = np.stack([a * b, a * (1.0 - b), (1.0 - a) * b, (1.0 - a) * (1.0 - b)], axis=2)
    mixed = np.log((shares * np.exp(parts.reshape(shares.shape))).sum(axis=2))
    mixed = np.where(moved[:, first], mixed, singles[:, second])
    return np.asarray(np.where(moved[:, second], mixed, singles[:, first]))


def _moved(entry: Likelihood) -> NDArray[np.bool_]:
    """Whether each hypothesis shows in this finding at all, shape (h,)."""
    moved = (entry.mean != entry.mean[0]) | (entry.spread != entry.spread[0])
    return np.asarray(moved)


def _pair(names: tuple[str, str], against: tuple[float, str], said: _Said, place: int) -> Pair:
    """The record of a pair, with the reasons of its likeliest hypotheses, at ``place``."""
    first, second = said.ways[place]
    both = said.both[:, place]
    needs = (_needed(both - said.single[:, second]), _needed(both - said.single[:, first]))
    return Pair(
        first=names[0],
        second=names[1],
        advantage=against[0],
        instead=against[1],
        first_findings=tuple(REGISTRY[i].name for i in needs[0]),
        second_findings=tuple(REGISTRY[i].name for i in needs[1]),
        first_phrases=_phrases(needs[0], said.measured),
        second_phrases=_phrases(needs[1], said.measured),
    )


def _needed(gain: FloatArray) -> list[int]:
    """Places of the findings that gain most, strongest first."""
    return [int(i) for i in np.argsort(-gain)[:_REASONS] if gain[i] > _LEAST_REASON]


def _phrases(places: list[int], measured: tuple[Measured, ...]) -> tuple[str, ...]:
    """The findings in words."""
    return tuple(
        REGISTRY[i].phrase.format(
            measured=shown(REGISTRY[i], measured[i].value[0]),
            expected=shown(REGISTRY[i], measured[i].expected[0]),
        )
        for i in places
    )


def _told(name: str, phrases: tuple[str, ...]) -> str:
    """A condition in words, its findings in brackets."""
    return WORDS[name] + (f" ({'; '.join(phrases)})" if phrases else "")
