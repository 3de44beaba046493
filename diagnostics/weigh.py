"""From findings to probabilities: what each finding says for each condition, put together.

Under a condition, the deviation of a finding is taken as normal with the mean and spread that
weights.toml gives, widened by the measurement's own uncertainty, on a thin uniform floor so that
no single number can decide alone. Where a condition shows in this finding only in a share of the
systems that have it (one of many sensors, a valve stuck open or closed), the rest read as normal.
Three rules keep the sum honest:

- findings of one family share causes: for each condition the strongest counts in full, the others
  ``1 - rho``;
- little data says little: a finding counts ``t / (t + half)``, t being the seconds behind it;
- all evidence is tempered by one exponent, fitted so that stated probabilities come true.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib import resources

import numpy as np

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
    """Deviation of one finding under each condition, in the finding's unit.

    ``mean``, ``spread``, ``share``: shape (6,), in the order of CONDITIONS; ``share`` is the part
    of the systems with a condition that show it in this finding. ``span``: width of the uniform
    floor. ``half_s``: seconds of data at which the finding counts half.
    """

    family: str
    mean: FloatArray
    spread: FloatArray
    share: FloatArray
    span: float
    half_s: float
    reasons: Mapping[str, str]


@dataclass(frozen=True)
class Weights:
    """The whole table: priors, likelihoods by finding, and the three constants above."""

    prior: FloatArray
    rho: float
    exponent: float
    floor_share: float
    likelihoods: Mapping[str, Likelihood]


@dataclass(frozen=True)
class Evidence:
    """Everything the findings say of some rows.

    push: log-likelihood ratio against normal, shape (findings, w, 6), after all three rules, so
    that the posterior is the prior times the exponential of the sum over findings.
    """

    measured: tuple[Measured, ...]
    push: FloatArray
    probabilities: FloatArray


@cache
def table() -> Weights:
    """The weights of this version of the method.

    Raises WeightsError when the table and the registry do not fit.
    """
    text = resources.files("diagnostics").joinpath("weights.toml").read_text(encoding="utf-8")
    return parse(tomllib.loads(text))


def parse(raw: Mapping[str, Mapping[str, object]]) -> Weights:
    """Weights from the parsed table. Raises WeightsError naming what is missing or unknown."""
    entries = raw["finding"]
    names = {finding.name for finding in REGISTRY}
    if names != set(entries):
        raise WeightsError(f"findings without weights or the reverse: {names ^ set(entries)}")
    prior = np.array([_number(raw["prior"], name, "prior") for name in CONDITIONS])
    constants = raw["constants"]
    return Weights(
        prior=np.log(prior / prior.sum()),
        rho=_number(constants, "rho", "constants"),
        exponent=_number(constants, "exponent", "constants"),
        floor_share=_number(constants, "floor_share", "constants"),
        likelihoods={name: _likelihood(name, entries[name]) for name in names},
    )


def _number(where: object, key: str, place: str) -> float:
    value = where.get(key) if isinstance(where, Mapping) else None
    if not isinstance(value, int | float):
        raise WeightsError(f"weights.toml: {place}.{key} must be a number, found {value!r}")
    return float(value)


def _likelihood(name: str, entry: object) -> Likelihood:
    """One finding's entry; a condition that is not named behaves like normal."""
    if not isinstance(entry, Mapping) or "normal" not in entry:
        raise WeightsError(f"weights.toml: finding.{name} must give at least normal")
    unknown = set(entry) - set(CONDITIONS) - {"family", "span", "half_s"}
    if unknown:
        raise WeightsError(f"weights.toml: finding.{name} has unknown keys {sorted(unknown)}")
    rows = [entry.get(condition, entry["normal"]) for condition in CONDITIONS]
    return Likelihood(
        family=str(entry["family"]),
        mean=np.array([_number(row, "mean", name) for row in rows]),
        spread=np.array([_number(row, "spread", name) for row in rows]),
        share=np.array([_number({"share": 1.0} | dict(row), "share", name) for row in rows]),
        span=_number(entry, "span", name),
        half_s=_number(entry, "half_s", name),
        reasons={c: str(entry[c].get("reason", "")) for c in CONDITIONS if c in entry},
    )


def weigh(rows: Windows, context: Context, weights: Weights) -> Evidence:
    """Probabilities of the conditions for every row, with the push of every finding."""
    measured = tuple(finding.measure(rows, context) for finding in REGISTRY)
    likelihoods = [weights.likelihoods[finding.name] for finding in REGISTRY]
    raw = np.array([_ratio(m, k, weights) for m, k in zip(measured, likelihoods, strict=True)])
    trust = np.array([_trust(m, k) for m, k in zip(measured, likelihoods, strict=True)])
    push = _shared(raw * trust[:, :, None], likelihoods, weights.rho) * weights.exponent
    total = weights.prior + push.sum(axis=0)
    total -= total.max(axis=1, keepdims=True)
    share = np.exp(total)
    return Evidence(measured, push, share / share.sum(axis=1, keepdims=True))


def _ratio(measured: Measured, likelihood: Likelihood, weights: Weights) -> FloatArray:
    """Log-likelihood ratio against normal, shape (w, 6), 0 where nothing was measured."""
    known = np.isfinite(measured.deviation) & np.isfinite(measured.sigma)
    deviation = np.where(known, measured.deviation, 0.0)[:, None]
    sigma = np.where(known, measured.sigma, 1.0)[:, None]
    spread = np.hypot(likelihood.spread, sigma)
    bell = np.exp(-0.5 * ((deviation - likelihood.mean) / spread) ** 2) / spread
    bell /= np.sqrt(2.0 * np.pi)
    bell = likelihood.share * bell + (1.0 - likelihood.share) * bell[:, :1]
    density = (1.0 - weights.floor_share) * bell + weights.floor_share / likelihood.span
    ratio = np.log(density) - np.log(density[:, :1])
    return np.where(known[:, None], ratio, 0.0)


def _trust(measured: Measured, likelihood: Likelihood) -> FloatArray:
    """How much the amount of data lets the finding count, 0..1, shape (w,)."""
    known = np.isfinite(measured.deviation) & np.isfinite(measured.sigma)
    seconds = np.where(known, measured.resting_s, 0.0)
    return seconds / (seconds + likelihood.half_s)


def _shared(said: FloatArray, likelihoods: list[Likelihood], rho: float) -> FloatArray:
    """Evidence with all but the strongest witness of each family taken back, (findings, w, 6)."""
    families = np.array([likelihood.family for likelihood in likelihoods])
    counted = said * (1.0 - rho)
    for family in np.unique(families):
        inside = np.flatnonzero(families == family)
        strongest = inside[np.abs(said[inside]).argmax(axis=0)][None]
        full = np.take_along_axis(said, strongest, axis=0)
        np.put_along_axis(counted, strongest, full, axis=0)
    return counted
