"""What one more reading is worth follows from what it would show under each hypothesis."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from diagnostics import pooling
from diagnostics.findings import REGISTRY, Context
from diagnostics.weighing import settling, weigh
from diagnostics.weighing.onsite import READINGS, Reading
from diagnostics.weighing.settling import Step
from diagnostics.weighing.weigh import CONDITIONS, Evidence
from tests.diagnostics.rows import plant, windows

DOUBTED = {"subcooling_to_indoor_k": 10.0, "condensing_over_coil_k": 6.0}
"""A high subcooling that a discharge transducer reading high would explain."""


@cache
def evidence_of(**features: float) -> Evidence:
    """What a week of like windows says."""
    row = pooling.pool(windows(672, **features))
    return weigh.weigh(row, Context(plant()), weigh.table())


def between(evidence: Evidence, **shares: float) -> Evidence:
    """The same findings, but with these probabilities of hypotheses, or of whole conditions."""
    table = weigh.table()
    row = np.zeros((1, len(table.hypotheses)))
    for name, share in shares.items():
        if name in table.hypotheses:
            row[0, table.hypotheses.index(name)] = share
        else:
            odds = np.where(table.condition == CONDITIONS.index(name), np.exp(table.prior), 0.0)
            row[0] += share * odds / odds.sum()
    return replace(evidence, shares=row, probabilities=weigh.together(row, table))


def told(evidence: Evidence) -> tuple[Step, ...]:
    return settling.settle(evidence, weigh.table())


def test_every_reading_names_findings_and_hypotheses_of_the_table() -> None:
    names, hypotheses = {finding.name for finding in REGISTRY}, set(weigh.table().hypotheses)
    for reading in READINGS:
        assert not reading.finding or reading.finding in names, reading.do
        assert {off.finding for off in reading.off.values()} <= names, reading.do
        ways = {*reading.blind, *reading.off, *reading.own}
        assert ways <= hypotheses, (reading.do, ways - hypotheses)
        assert bool(reading.finding) + bool(reading.off) + bool(reading.own) == 1, reading.do


def test_a_doubted_transducer_is_compared_with_a_gauge_first() -> None:
    evidence = between(evidence_of(**DOUBTED), overcharge=0.5, discharge_pressure_reads_high=0.5)
    first = told(evidence)[0]
    assert first.do.startswith("Compare the logged discharge pressure")
    assert 0.8 < first.bits <= 1.0
    assert first.then > 0.95
    low, high = first.points
    assert "too much refrigerant" in low
    assert "the discharge pressure reads high" in high


def test_what_was_measured_well_already_is_not_worth_measuring_again() -> None:
    """Overcharge or a restriction: the subcooling cannot tell, however often it is taken."""
    evidence = between(evidence_of(**DOUBTED), overcharge=0.5, flow_restriction=0.5)
    assert not [step for step in told(evidence) if "subcooling in steady cooling" in step.do]


def test_what_the_log_lacks_is_worth_more_than_what_it_has() -> None:
    shares = {"overcharge": 0.5, "normal": 0.5}
    has = between(evidence_of(hunting_demand_s=800.0, hunting_high_demand=0.0), **shares)
    lacks = between(evidence_of(), **shares)

    def worth(evidence: Evidence) -> float:
        found = [step for step in told(evidence) if step.do.startswith("Watch the subcooler")]
        return found[0].bits if found else 0.0

    assert worth(lacks) > worth(has) + 0.1


def test_a_sure_verdict_needs_no_further_reading() -> None:
    assert told(between(evidence_of(), normal=1.0)) == ()
    assert told(between(evidence_of(), overcharge=0.999, normal=0.001)) == ()


def test_two_ways_of_one_condition_are_not_told_apart_for_their_own_sake() -> None:
    ways = {"discharge_pressure_reads_high": 0.5, "discharge_pressure_reads_low": 0.5}
    assert told(between(evidence_of(), **ways)) == ()


@settings(max_examples=25, deadline=None)
@given(st.dictionaries(st.sampled_from(weigh.table().hypotheses), st.floats(0.05, 1.0), min_size=2))
def test_no_reading_tells_more_than_there_is_to_know(shares: Mapping[str, float]) -> None:
    total = sum(shares.values())
    evidence = between(evidence_of(**DOUBTED), **{k: v / total for k, v in shares.items()})
    known = evidence.probabilities[0]
    entropy = float(-(known * np.log2(known + 1e-12)).sum())
    steps = told(evidence)
    assert [step.bits for step in steps] == sorted((step.bits for step in steps), reverse=True)
    for step in steps:
        assert 0.0 < step.bits <= entropy + 0.02
        assert step.now == pytest.approx(known.max(), abs=1e-6)
        assert step.now - 0.01 <= step.then <= 1.0
        assert 0.0 <= step.changes <= 1.0
        assert len(step.points) >= 2


def test_the_worth_is_what_drawing_readings_gives() -> None:
    """The quadrature against 40,000 readings drawn from the predictions themselves."""
    rng = np.random.default_rng(4)
    shares = {"normal": 0.4, "undercharge": 0.35, "discharge_pressure_reads_low": 0.25}
    evidence = between(evidence_of(subcooling_to_indoor_k=2.0), **shares)
    table = weigh.table()
    kept = np.flatnonzero(evidence.shares[0] > 0)
    share = evidence.shares[0, kept]
    predicted = settling._predicted(evidence, table, kept)
    for step in told(evidence):
        place = [reading.do for reading in READINGS].index(step.do)
        way = rng.choice(len(kept), size=40_000, p=share)
        seen = predicted.mean[place, way] + predicted.spread[place, way] * rng.normal(size=way.size)
        scaled = (seen[:, None] - predicted.mean[place]) / predicted.spread[place]
        density = np.exp(-0.5 * scaled**2) / predicted.spread[place] + predicted.floor[place]
        joint = density * share
        posterior = joint / joint.sum(axis=1, keepdims=True)
        conditions = np.zeros((len(way), len(CONDITIONS)))
        for i, condition in enumerate(table.condition[kept]):
            conditions[:, condition] += posterior[:, i]
        left = -(conditions * np.log2(conditions + 1e-12)).sum(axis=1).mean()
        before = evidence.probabilities[0]
        entropy = -(before * np.log2(before + 1e-12)).sum()
        assert step.bits == pytest.approx(entropy - left, abs=0.03), step.do
        assert step.then == pytest.approx(conditions.max(axis=1).mean(), abs=0.02), step.do


@pytest.mark.parametrize(
    ("unit", "deviation", "zero", "said"),
    [
        ("kPa", -94.0, 0.0, "-90 kPa"),
        ("K", 4.2, 5.0, "9 K"),
        ("K", 1.26, 0.0, "1.3 K"),
        ("K", 3.0, float("nan"), "3 K over the usual"),
        ("share", 0.1, 0.37, "47%"),
        ("ratio", float(np.log(0.5)), 0.0, "50%"),
    ],
)
def test_readings_are_printed_no_finer_than_they_are(
    unit: str, deviation: float, zero: float, said: str
) -> None:
    reading = Reading(do="", reads="", unit=unit, sigma=0.5)
    assert settling._printed(deviation, reading, zero) == said
