"""Conditional likelihood of the true conditions, its gradient, and the search for its best.

The forward step is `weigh.combine` for many systems at once; a test holds the two against each
other. Which witness of a family is the strongest is taken as it stands at each step.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from diagnostics.findings import REGISTRY
from diagnostics.samples import FloatArray
from diagnostics.weighing.weigh import CONDITIONS, Likelihood, Weights
from tests.benchmarks.fitting.pools import Measured

MEAN_PENALTY, SPREAD_PENALTY = 4.0, 12.0
"""Log-likelihood that a move by one spread, and a spread e times as wide, must be worth. Between 2
and 6 and 6 and 20, which did alike on seeds 201 to 209 while those were not fitted; 20 and 60 did
worse."""

STEPS, RATE, LATE = 80, 0.05, 0.6
"""Of Adam (Kingma and Ba 2015, arXiv:1412.6980); after the share LATE with a third of the rate."""

_ROOT = np.sqrt(2.0 * np.pi)


@dataclass(frozen=True, eq=False)
class Table:
    """Means and spreads as arrays (findings, hypotheses); ``own`` where the table names one.

    What it does not name follows normal, so only own entries move.
    """

    mean: FloatArray
    spread: FloatArray
    own: NDArray[np.bool_]

    def moved(self, shift: FloatArray, widening: FloatArray) -> Table:
        """Means moved by ``shift`` spreads, spreads widened by exp(widening), of own entries."""
        mean = self.mean + np.where(self.own, shift * self.spread, 0.0)
        spread = self.spread * np.exp(np.where(self.own, widening, 0.0))
        return replace(self, mean=self._follow(mean), spread=self._follow(spread))

    def _follow(self, values: FloatArray) -> FloatArray:
        return np.where(self.own, values, values[:, :1])


def table_of(weights: Weights) -> Table:
    """The table's numbers."""
    likelihoods = [weights.likelihoods[finding.name] for finding in REGISTRY]
    return Table(
        mean=np.array([it.mean for it in likelihoods]),
        spread=np.array([it.spread for it in likelihoods]),
        own=np.array([[name in it.reasons for name in weights.hypotheses] for it in likelihoods]),
    )


def with_table(weights: Weights, table: Table) -> Weights:
    """The weights with other means and spreads."""
    names = [finding.name for finding in REGISTRY]
    moved: dict[str, Likelihood] = {
        name: replace(weights.likelihoods[name], mean=table.mean[row], spread=table.spread[row])
        for row, name in enumerate(names)
    }
    return replace(weights, likelihoods=moved)


class Problem:
    """Measured systems under weights whose means and spreads may move."""

    def __init__(self, measured: Measured, weights: Weights) -> None:
        self._measured, self._weights = measured, weights
        likelihoods = [weights.likelihoods[finding.name] for finding in REGISTRY]
        self._share = np.array([it.share for it in likelihoods])
        self._span = np.array([it.span for it in likelihoods])[:, None]
        families = np.array([it.family for it in likelihoods])
        self._families = [np.flatnonzero(families == name) for name in np.unique(families)]
        self._known = np.isfinite(measured.deviation) & np.isfinite(measured.sigma)
        self._deviation = np.where(self._known, measured.deviation, 0.0)[:, :, None]
        self._sigma = np.where(self._known, measured.sigma, 1.0)[:, :, None]
        seconds = np.where(self._known, measured.resting_s, 0.0)
        self._trust = seconds / (seconds + np.array([it.half_s for it in likelihoods]))
        self._is = np.eye(len(CONDITIONS))[weights.condition]

    def probabilities(self, table: Table) -> FloatArray:
        """Of the conditions, shape (n, conditions)."""
        odds, _, _ = self._odds(table)
        return np.asarray(odds @ self._is)

    def loss(self, table: Table) -> tuple[float, FloatArray, FloatArray]:
        """Minus the log-likelihood, and its slope by every mean and every log spread."""
        odds, counted, parts = self._odds(table)
        true = odds * (self._measured.true @ self._is.T)
        whole = true.sum(axis=1, keepdims=True) + 1e-12
        value = -float(self._measured.count @ np.log(whole[:, 0]))
        pull = self._measured.count[:, None] * (odds - true / whole)
        by_ratio = pull[:, None, :] * counted
        by_ratio[:, :, 0] -= by_ratio.sum(axis=2)
        return value, *self._by_entry(table, by_ratio, parts)

    def _odds(self, table: Table) -> tuple[FloatArray, FloatArray, tuple[FloatArray, ...]]:
        """Posterior of the hypotheses (n, h), what of each ratio counted (n, f, h), the bells."""
        weights = self._weights
        wide = np.hypot(table.spread, self._sigma)
        off = (self._deviation - table.mean) / wide
        bell = np.exp(-0.5 * off**2) / wide / _ROOT
        mixed = self._share * bell + (1.0 - self._share) * bell[:, :, :1]
        density = (1.0 - weights.floor_share) * mixed + weights.floor_share / self._span
        ratio = np.log(density) - np.log(density[:, :, :1])
        said = np.where(self._known[:, :, None], ratio, 0.0) * self._trust[:, :, None]
        counted = np.full(said.shape, 1.0 - weights.rho)
        for inside in self._families:
            strongest = np.abs(said[:, inside]).argmax(axis=1)
            np.put_along_axis(counted, inside[strongest][:, None], 1.0, axis=1)
        total = weights.prior + weights.exponent * (said * counted).sum(axis=1)
        odds = np.exp(total - total.max(axis=1, keepdims=True))
        odds /= odds.sum(axis=1, keepdims=True)
        return (
            odds,
            weights.exponent * counted * self._trust[:, :, None],
            (wide, off, bell, density),
        )

    def _by_entry(
        self, table: Table, by_ratio: FloatArray, parts: tuple[FloatArray, ...]
    ) -> tuple[FloatArray, FloatArray]:
        wide, off, bell, density = parts
        by_ratio = np.where(self._known[:, :, None], by_ratio, 0.0)
        by_density = (1.0 - self._weights.floor_share) * by_ratio / density
        by_bell = by_density * self._share
        by_bell[:, :, 0] += (by_density * (1.0 - self._share)).sum(axis=2)
        slope = by_bell * bell
        by_mean = (slope * off / wide).sum(axis=0)
        by_spread = (slope * (off**2 - 1.0) * (table.spread / wide) ** 2).sum(axis=0)
        return _gathered(by_mean, table.own), _gathered(by_spread, table.own)


def _gathered(slope: FloatArray, own: NDArray[np.bool_]) -> FloatArray:
    """Slopes of the own entries; those that follow normal are normal's."""
    gathered = np.where(own, slope, 0.0)
    gathered[:, 0] += np.where(own, 0.0, slope).sum(axis=1)
    return gathered


def fit(
    problem: Problem, start: Table, steps: int = STEPS, say: Callable[[str], object] = print
) -> Table:
    """The table moved to the best of likelihood less penalty."""
    place = np.zeros((2, *start.mean.shape))
    mean_slope, square = np.zeros_like(place), np.zeros_like(place)
    penalty = np.array([MEAN_PENALTY, SPREAD_PENALTY])[:, None, None]
    for step in range(1, steps + 1):
        table = start.moved(place[0], place[1])
        value, by_mean, by_spread = problem.loss(table)
        slope = np.stack([by_mean * start.spread, by_spread]) + 2.0 * penalty * place
        mean_slope = 0.9 * mean_slope + 0.1 * slope
        square = 0.98 * square + 0.02 * slope**2
        rate = RATE if step <= LATE * steps else RATE / 3.0
        scale = np.sqrt(square / (1.0 - 0.98**step)) + 1e-3
        place = place - rate * mean_slope / (1.0 - 0.9**step) / scale
        if step % 20 == 0 or step == 1:
            say(f"step {step}: minus log-likelihood {value:.1f}")
    return start.moved(place[0], place[1])
