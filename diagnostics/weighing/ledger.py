"""The ledger: for every finding what was measured and expected, and how far it pushed."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

from diagnostics.findings import REGISTRY, Finding, Measured, shown
from diagnostics.samples import FloatArray
from diagnostics.weighing.weigh import CONDITIONS, Evidence, Likelihood, table

WORDS: Mapping[str, str] = {
    "normal": "normal",
    "overcharge": "too much refrigerant",
    "undercharge": "too little refrigerant",
    "flow_restriction": "a restriction in the liquid line",
    "subcooler_valve_fault": "a faulty subcooler valve",
    "sensor_fault": "a faulty sensor",
    "not_enough_data": "not enough data",
}

WAYS: Mapping[str, str] = {
    "overcharge_slight": "slight",
    "overcharge_marked": "marked",
    "undercharge_slight": "slight",
    "undercharge_marked": "marked",
    "valve_stuck_closed": "stuck closed",
    "valve_stuck_open": "stuck open",
    "valve_leaks": "it leaks when closed",
    "valve_hunts": "it hunts",
    "discharge_pressure_reads_high": "the discharge pressure reads high",
    "discharge_pressure_reads_low": "the discharge pressure reads low",
    "suction_pressure_reads_high": "the suction pressure reads high",
    "suction_pressure_reads_low": "the suction pressure reads low",
    "liquid_thermistors_swapped": "the two liquid thermistors swapped",
    "outdoor_side_thermistor_off_pipe": "the outdoor-side liquid thermistor off its pipe",
    "indoor_side_thermistor_off_pipe": "the indoor-side liquid thermistor off its pipe",
    "outdoor_side_thermistor_reads_high": "the outdoor-side liquid thermistor reads high",
    "outdoor_side_thermistor_reads_low": "the outdoor-side liquid thermistor reads low",
    "indoor_side_thermistor_reads_high": "the indoor-side liquid thermistor reads high",
    "indoor_side_thermistor_reads_low": "the indoor-side liquid thermistor reads low",
    "suction_thermistor_reads_high": "the suction thermistor reads high",
    "suction_thermistor_reads_low": "the suction thermistor reads low",
    "discharge_thermistor_reads_high": "the discharge thermistor reads high",
    "discharge_thermistor_reads_low": "the discharge thermistor reads low",
    "discharge_thermistor_off_pipe": "the discharge thermistor off its pipe",
    "suction_thermistor_off_pipe": "the suction thermistor off its pipe",
    "suction_and_indoor_side_swapped": "suction and indoor-side liquid thermistor swapped",
    "suction_and_outdoor_side_swapped": "suction and outdoor-side liquid thermistor swapped",
    "indoor_side_thermistor_misplaced": "the indoor-side liquid thermistor misplaced",
    "outdoor_side_thermistor_misplaced": "the outdoor-side liquid thermistor misplaced",
    "frozen_reading": "a reading that stands still",
}
"""In which way a condition is had, where it can be had in several."""

UNTOLD = "could not be told from this data"
_SAYS_SOMETHING = 0.1
_PLAIN: Mapping[str, float] = MappingProxyType({})


@dataclass(frozen=True)
class Entry:
    """One line of the ledger.

    measured, expected: in ``unit`` (K are temperature differences); uncertainty: standard, in
    ``unit``, for a ratio relative; None where it could not be told. phrase: the same in a few
    words. push: log-likelihood ratio against normal, by condition. towards: the
    condition it speaks for most, weight: how much. settle: what reading on site would settle it.
    factor: how much the finding counts by what visits taught, already in push and weight.
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
    factor: float = 1.0


def entries(evidence: Evidence, factors: Mapping[str, float] = _PLAIN) -> tuple[Entry, ...]:
    """Ledger of the first row, strongest first; findings without data come last.

    A condition that can be had in several ways speaks through its likeliest way.
    """
    ways = likeliest_ways(evidence)
    made = [
        replace(
            _entry(finding, measured, push[0, ways], _Stand(ways, evidence.probabilities[0])),
            factor=factors.get(finding.name, 1.0),
        )
        for finding, measured, push in zip(REGISTRY, evidence.measured, evidence.push, strict=True)
    ]
    return tuple(sorted(made, key=lambda entry: (entry.measured is None, -abs(entry.weight))))


@dataclass(frozen=True)
class _Stand:
    """Where the row stands: likeliest way and probability of every condition, each shape (6,)."""

    ways: NDArray[np.intp]
    probabilities: FloatArray


def likeliest_ways(evidence: Evidence) -> NDArray[np.intp]:
    """Index of the likeliest hypothesis of every condition in the first row, shape (6,)."""
    of = table().condition
    return np.array(
        [
            np.flatnonzero(of == i)[evidence.shares[0, of == i].argmax()]
            for i in range(len(CONDITIONS))
        ]
    )


def way(evidence: Evidence, condition: str) -> str:
    """In which way a condition is likeliest had in the first row, empty where it has but one."""
    name = table().hypotheses[likeliest_ways(evidence)[CONDITIONS.index(condition)]]
    return WAYS.get(name, "")


def _entry(finding: Finding, measured: Measured, push: FloatArray, stand: _Stand) -> Entry:
    known = bool(np.isfinite(measured.deviation[0]) and measured.resting_s[0] > 0)
    # Of the conditions a finding makes likelier, it speaks for the one that is likely in the end.
    strongest = int(np.argmax(push + np.log(stand.probabilities + 1e-9)))
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
        push={name: float(value) for name, value in zip(CONDITIONS, push, strict=True)},
        towards=CONDITIONS[strongest],
        weight=weight if known else 0.0,
        text=_text(weight, int(stand.ways[strongest]), likelihood) if known else UNTOLD,
        source=finding.source,
        settle=finding.settle,
    )


def _phrase(finding: Finding, measured: Measured) -> str:
    return finding.phrase.format(
        measured=shown(finding, measured.value[0]), expected=shown(finding, measured.expected[0])
    )


def _text(weight: float, way: int, likelihood: Likelihood) -> str:
    if weight < _SAYS_SOMETHING:
        return "says little either way"
    strength = "strongly" if weight > 2.0 else "clearly" if weight > 0.8 else "a little"
    name = table().hypotheses[way]
    towards = WORDS[CONDITIONS[int(table().condition[way])]]
    way_had = f" ({WAYS[name]})" if name in WAYS else ""
    reason = likelihood.reasons.get(name, "")
    return f"speaks {strength} for {towards}{way_had}" + (f": {reason}" if reason else "")


def one_line(
    leading: str, way_had: str, made: tuple[Entry, ...], coverage: float, also: str = ""
) -> str:
    """Why, in one line: the leading suspicion and the two findings that speak most for it.

    also: what else is there, in words, where two conditions explain the data clearly better.
    """
    if leading == "not_enough_data":
        return f"Not enough data: {coverage:.0%} of the running time could be judged."
    if leading == "normal":
        return f"Nothing certain: {also}." if also else "Nothing unusual."
    known = [entry for entry in made if entry.measured is not None]
    for_it = sorted(known, key=lambda entry: -_speaks_for(entry, leading))[:2]
    reasons = [entry.phrase for entry in for_it if _speaks_for(entry, leading) > 0.2]
    suspicion = WORDS[leading] + (f" ({way_had})" if way_had else "")
    more = f"; {also}" if also else ""
    if not reasons:
        return f"Weak suspicion of {suspicion}{more}."
    return f"Suspicion of {suspicion}: {'; '.join(reasons)}{more}."


def _speaks_for(entry: Entry, condition: str) -> float:
    """Push for a condition against the rest (for normal: against every fault)."""
    others = [value for name, value in entry.push.items() if name != condition]
    return entry.push[condition] - float(np.mean(others))
