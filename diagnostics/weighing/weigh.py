"""From findings to probabilities: what each finding says for each condition, put together.

Some conditions can be had in several ways: a valve sticks open or closed or hunts, and any of a
dozen readings can be wrong. Each such way is a hypothesis of its own, weighed through all findings;
a condition is as probable as its hypotheses together.

Under a hypothesis, the deviation of a finding is taken as normal with the mean and spread that
weights.toml gives, widened by the measurement's own uncertainty, on a thin uniform floor so that no
single number can decide alone. Where a hypothesis shows in this finding only in a share of the
systems that have it, the rest read as normal. Three rules keep the sum honest:

- findings of one family share causes: for each hypothesis the strongest counts in full, the others
  ``1 - rho``;
- little data says little: a finding counts ``t / (t + half)``, t being the seconds behind it;
- all evidence is tempered by one exponent, fitted so that stated probabilities come true.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cache
from importlib import resources

import numpy as np
from numpy.typing import NDArray

from diagnostics.findings import REGISTRY, Context, Measured
from diagnostics.samples import FloatArray
from diagnostics.windows import Windows

CONDITIONS = (
    "normal",
    "overcharge",
    "undercharge",
    "flow_restriction",
    "subcooler_valve_fault",
    "sensor_fault",
)


class WeightsError(ValueError):
    """weights.toml does not fit the registry of findings; the message names the entry."""


@dataclass(frozen=True)
class Likelihood:
    """Deviation of one finding under each hypothesis, in the finding's unit.

    ``mean``, ``spread``, ``share``: shape (h,), in the order of ``Weights.hypotheses``; ``share``
    is the part of the systems with a hypothesis that show it in this finding. ``span``: width of
    the uniform floor. ``half_s``: seconds of data at which the finding counts half.
    """

    family: str
    mean: FloatArray
    spread: FloatArray
    share: FloatArray
    span: float
    half_s: float
    reasons: Mapping[str, str]


@dataclass(frozen=True, eq=False)
class Weights:
    """The whole table: priors, likelihoods by finding, and the three constants above.

    hypotheses: their names, "normal" first. condition: of each hypothesis, as index into
    CONDITIONS, shape (h,). prior: logarithms, shape (h,). factors: how much each finding counts
    by what visits taught, 1 where none is given. taught: names what they taught, empty for the
    plain table.
    """

    hypotheses: tuple[str, ...]
    condition: NDArray[np.intp]
    prior: FloatArray
    rho: float
    exponent: float
    floor_share: float
    likelihoods: Mapping[str, Likelihood]
    factors: Mapping[str, float] = field(default_factory=dict)
    taught: str = ""


@dataclass(frozen=True)
class Evidence:
    """Everything the findings say of some rows.

    push: log-likelihood ratio against normal, shape (findings, w, h), after all three rules, so
    that the posterior is the prior times the exponential of the sum over findings. shares:
    posterior of the hypotheses, shape (w, h). probabilities: of the conditions, shape (w, 6).
    """

    measured: tuple[Measured, ...]
    push: FloatArray
    shares: FloatArray
    probabilities: FloatArray


@cache
def table() -> Weights:
    """The weights of this version of the method.

    Raises WeightsError when the table and the registry do not fit.
    """
    text = (
        resources.files("diagnostics.weighing").joinpath("weights.toml").read_text(encoding="utf-8")
    )
    return parse(tomllib.loads(text))


def parse(raw: Mapping[str, Mapping[str, object]]) -> Weights:
    """Weights from the parsed table. Raises WeightsError naming what is missing or unknown."""
    entries = raw["finding"]
    names = {finding.name for finding in REGISTRY}
    if names != set(entries):
        raise WeightsError(f"findings without weights or the reverse: {names ^ set(entries)}")
    ways = _ways(raw["prior"])
    prior = np.array([value for _, _, value in ways])
    hypotheses = tuple(name for name, _, _ in ways)
    constants = raw["constants"]
    return Weights(
        hypotheses=hypotheses,
        condition=np.array([CONDITIONS.index(condition) for _, condition, _ in ways]),
        prior=np.log(prior / prior.sum()),
        rho=_number(constants, "rho", "constants"),
        exponent=_number(constants, "exponent", "constants"),
        floor_share=_number(constants, "floor_share", "constants"),
        likelihoods={name: _likelihood(name, entries[name], hypotheses) for name in names},
    )


def _ways(prior: Mapping[str, object]) -> list[tuple[str, str, float]]:
    """Every hypothesis with its condition and prior; a condition with one way has its own name."""
    if set(prior) != set(CONDITIONS):
        raise WeightsError(f"weights.toml: prior needs exactly the conditions {CONDITIONS}")
    ways: list[tuple[str, str, float]] = []
    for condition in CONDITIONS:
        given = prior[condition]
        if isinstance(given, Mapping):
            place = f"prior.{condition}"
            ways += [(name, condition, _number(given, name, place)) for name in given]
        else:
            ways.append((condition, condition, _number(prior, condition, "prior")))
    return ways


def _number(where: object, key: str, place: str) -> float:
    value = where.get(key) if isinstance(where, Mapping) else None
    if not isinstance(value, int | float):
        raise WeightsError(f"weights.toml: {place}.{key} must be a number, found {value!r}")
    return float(value)


def _likelihood(name: str, entry: object, hypotheses: tuple[str, ...]) -> Likelihood:
    """One finding's entry; a hypothesis that is not named behaves like normal."""
    if not isinstance(entry, Mapping) or "normal" not in entry:
        raise WeightsError(f"weights.toml: finding.{name} must give at least normal")
    unknown = set(entry) - set(hypotheses) - {"family", "span", "half_s"}
    if unknown:
        raise WeightsError(f"weights.toml: finding.{name} has unknown keys {sorted(unknown)}")
    rows = [entry.get(hypothesis, entry["normal"]) for hypothesis in hypotheses]
    return Likelihood(
        family=str(entry["family"]),
        mean=np.array([_number(row, "mean", name) for row in rows]),
        spread=np.array([_number(row, "spread", name) for row in rows]),
        share=np.array([_number({"share": 1.0} | dict(row), "share", name) for row in rows]),
        span=_number(entry, "span", name),
        half_s=_number(entry, "half_s", name),
        reasons={h: str(entry[h].get("reason", "")) for h in hypotheses if h in entry},
    )


def weigh(rows: Windows, context: Context, weights: Weights) -> Evidence:
    """Probabilities of the conditions for every row, with the push of every finding."""
    return combine(measure(rows, context), weights)


def measure(rows: Windows, context: Context) -> tuple[Measured, ...]:
    """What every finding measures of every row, in the order of the registry."""
    return tuple(finding.measure(rows, context) for finding in REGISTRY)


def combine(measured: tuple[Measured, ...], weights: Weights) -> Evidence:
    """What the measured findings say together."""
    likelihoods = [weights.likelihoods[finding.name] for finding in REGISTRY]
    raw = np.array([_ratio(m, k, weights) for m, k in zip(measured, likelihoods, strict=True)])
    trust = np.array([_trust(m, k) for m, k in zip(measured, likelihoods, strict=True)])
    push = _shared(raw * trust[:, :, None], likelihoods, weights.rho) * weights.exponent
    if weights.factors:  # last of all, so that what the plain table says can be had back
        factor = np.array([weights.factors.get(finding.name, 1.0) for finding in REGISTRY])
        push *= factor[:, None, None]
    total = weights.prior + push.sum(axis=0)
    total -= total.max(axis=1, keepdims=True)
    odds = np.exp(total)
    shares = odds / odds.sum(axis=1, keepdims=True)
    return Evidence(measured, push, shares, together(shares, weights))


def together(shares: FloatArray, weights: Weights) -> FloatArray:
    """Probabilities of the conditions from those of their hypotheses, (w, h) to (w, 6).

    Not a product of matrices, whose last bits depend on how many rows there are.
    """
    found = np.zeros((shares.shape[0], len(CONDITIONS)))
    for hypothesis, condition in enumerate(weights.condition):
        found[:, condition] += shares[:, hypothesis]
    return found


def _ratio(measured: Measured, likelihood: Likelihood, weights: Weights) -> FloatArray:
    """Log-likelihood ratio against normal, shape (w, h), 0 where nothing was measured."""
    known = np.isfinite(measured.deviation) & np.isfinite(measured.sigma)
    ratio = np.zeros((known.size, likelihood.mean.size))
    if not known.any():  # a system lacks the channels of some findings for good
        return ratio
    deviation, sigma = measured.deviation[known, None], measured.sigma[known, None]
    spread = np.hypot(likelihood.spread, sigma)
    bell = np.exp(-0.5 * ((deviation - likelihood.mean) / spread) ** 2) / spread
    bell /= np.sqrt(2.0 * np.pi)
    bell = likelihood.share * bell + (1.0 - likelihood.share) * bell[:, :1]
    density = (1.0 - weights.floor_share) * bell + weights.floor_share / likelihood.span
    ratio[known] = np.log(density) - np.log(density[:, :1])
    return ratio


def _trust(measured: Measured, likelihood: Likelihood) -> FloatArray:
    """How much the amount of data lets the finding count, 0..1, shape (w,)."""
    known = np.isfinite(measured.deviation) & np.isfinite(measured.sigma)
    seconds = np.where(known, measured.resting_s, 0.0)
    return seconds / (seconds + likelihood.half_s)


def _shared(said: FloatArray, likelihoods: list[Likelihood], rho: float) -> FloatArray:
    """Evidence with all but the strongest witness of each family taken back, (findings, w, h)."""
    families: dict[str, list[int]] = {}
    for number, likelihood in enumerate(likelihoods):
        families.setdefault(likelihood.family, []).append(number)
    counted = said * (1.0 - rho)
    row, hypothesis = np.ogrid[: said.shape[1], : said.shape[2]]
    for inside in families.values():
        if len(inside) == 1:
            counted[inside] = said[inside]
            continue
        strongest = np.array(inside)[np.abs(said[inside]).argmax(axis=0)]
        counted[strongest, row, hypothesis] = said[strongest, row, hypothesis]
    return counted
