"""The ledger: for every finding what was measured and expected, and how far it pushed."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from diagnostics.findings import REGISTRY, Finding, Measured, shown
from diagnostics.samples import FloatArray
from diagnostics.weigh import CONDITIONS, Evidence, Likelihood, table

WORDS: Mapping[str, str] = {
    "normal": "normal",
    "overcharge": "too much refrigerant",
    "undercharge": "too little refrigerant",
    "flow_restriction": "a restriction in the liquid line",
    "subcooler_valve_fault": "a faulty subcooler valve",
    "sensor_fault": "a faulty sensor",
    "not_enough_data": "not enough data",
}

_SAYS_SOMETHING = 0.1


@dataclass(frozen=True)
class Entry:
    """One line of the ledger.

    measured, expected: in ``unit`` (K are temperature differences); uncertainty: standard, in
    ``unit``, for a ratio relative; None where it could not be told. phrase: the same in a few
    words. push: log-likelihood ratio against normal, by condition. towards: the
    condition it speaks for most, weight: how much. settle: what reading on site would settle it.
    """

    finding: str
    title: str
    phrase: str
    unit: str
    measured: float | None
    expected: float | None
    uncertainty: float | None
    hours: float
    push: Mapping[str, float]
    towards: str
    weight: float
    text: str
    source: str
    settle: str


def entries(evidence: Evidence, conditions: tuple[str, ...]) -> tuple[Entry, ...]:
    """Ledger of the first row, strongest first; findings without data come last."""
    made = [
        _entry(finding, measured, push[0], conditions)
        for finding, measured, push in zip(REGISTRY, evidence.measured, evidence.push, strict=True)
    ]
    return tuple(sorted(made, key=lambda entry: (entry.measured is None, -abs(entry.weight))))


def _entry(
    finding: Finding, measured: Measured, push: FloatArray, conditions: tuple[str, ...]
) -> Entry:
    known = bool(np.isfinite(measured.deviation[0]) and measured.resting_s[0] > 0)
    strongest = int(np.argmax(push)) if push.max() > -push.min() / 2 else 0
    weight = float(push[strongest] if strongest else -push[1:].mean())
    likelihood = table().likelihoods[finding.name]
    return Entry(
        finding=finding.name,
        title=finding.title,
        phrase=_phrase(finding, measured) if known else "",
        unit=finding.unit,
        measured=shown(finding, measured.value[0]) if known else None,
        expected=shown(finding, measured.expected[0]) if known else None,
        uncertainty=float(measured.sigma[0]) if known else None,
        hours=float(measured.resting_s[0] / 3600.0),
        push={name: float(value) for name, value in zip(conditions, push, strict=True)},
        towards=conditions[strongest],
        weight=weight if known else 0.0,
        text=_text(known, weight, conditions[strongest], likelihood),
        source=finding.source,
        settle=finding.settle,
    )


def _phrase(finding: Finding, measured: Measured) -> str:
    return finding.phrase.format(
        measured=shown(finding, measured.value[0]), expected=shown(finding, measured.expected[0])
    )


def _text(known: bool, weight: float, towards: str, likelihood: Likelihood) -> str:
    if not known:
        return "could not be told from this data"
    if weight < _SAYS_SOMETHING:
        return "says little either way"
    strength = "strongly" if weight > 2.0 else "clearly" if weight > 0.8 else "a little"
    reason = likelihood.reasons.get(towards, "")
    return f"speaks {strength} for {WORDS[towards]}" + (f": {reason}" if reason else "")


def one_line(leading: str, made: tuple[Entry, ...], coverage: float) -> str:
    """Why, in one line: the leading suspicion and the two findings that speak most for it."""
    if leading == "not_enough_data":
        return f"Not enough data: {coverage:.0%} of the running time could be judged."
    if leading == "normal":
        return "Nothing unusual."
    known = [entry for entry in made if entry.measured is not None]
    for_it = sorted(known, key=lambda entry: -_speaks_for(entry, leading))[:2]
    reasons = [entry.phrase for entry in for_it if _speaks_for(entry, leading) > 0.2]
    if not reasons:
        return f"Weak suspicion of {WORDS[leading]}."
    return f"Suspicion of {WORDS[leading]}: {'; '.join(reasons)}."


def _speaks_for(entry: Entry, condition: str) -> float:
    """Push for a condition against the rest (for normal: against every fault)."""
    others = [value for name, value in entry.push.items() if name != condition]
    return entry.push[condition] - float(np.mean(others))


def settle(evidence: Evidence, probabilities: FloatArray) -> tuple[str, ...]:
    """The readings that would tell the two likeliest conditions apart best, best first.

    A reading is worth the distance of its two expected distributions (symmetric
    Kullback-Leibler divergence of normals), less what the data have told already.
    """
    first, second = np.argsort(probabilities)[::-1][:2]
    worth = []
    for finding, push in zip(REGISTRY, evidence.push, strict=True):
        likelihood = table().likelihoods[finding.name]
        told = abs(float(push[0, first] - push[0, second]))
        worth.append((_divergence(likelihood, int(first), int(second)) - told, finding))
    worth.sort(key=lambda pair: -pair[0])
    pair = f"{WORDS[CONDITIONS[first]]} and {WORDS[CONDITIONS[second]]}"
    return tuple(
        f"To tell {pair} apart: {finding.settle}." for value, finding in worth[:3] if value > 0.3
    )


def _divergence(likelihood: Likelihood, first: int, second: int) -> float:
    a, b = likelihood.spread[first] ** 2, likelihood.spread[second] ** 2
    shift = (likelihood.mean[first] - likelihood.mean[second]) ** 2
    return float(0.5 * (0.5 * (a + shift) / b + 0.5 * (b + shift) / a - 1.0))
