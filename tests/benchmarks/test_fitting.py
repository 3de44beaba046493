"""The fit of weights.toml: its forward step is the product's, its slopes are true."""

from __future__ import annotations

import tomllib

import numpy as np
import pytest

from diagnostics.findings import REGISTRY
from diagnostics.findings.finding import Measured as Found
from diagnostics.samples import FloatArray
from diagnostics.weighing import weigh
from tests.benchmarks.fitting import conditional
from tests.benchmarks.fitting.__main__ import FILE, KEPT, rewritten
from tests.benchmarks.fitting.conditional import Problem
from tests.benchmarks.fitting.pools import Measured

WEIGHTS = weigh.table()
START = conditional.table_of(WEIGHTS)


def drawn(systems: int, seed: int) -> Measured:
    """Systems whose deviations follow the table, some findings missing."""
    rng = np.random.default_rng(seed)
    way = rng.integers(0, len(WEIGHTS.hypotheses), systems)
    shape = (systems, len(REGISTRY))
    sigma = 0.3 * START.spread[:, 0] * np.ones(shape)
    deviation = START.mean[:, way].T + START.spread[:, way].T * rng.normal(size=shape)
    deviation[rng.random(shape) < 0.2] = np.nan
    return Measured(
        deviation=deviation,
        sigma=sigma,
        resting_s=np.full(shape, 90_000.0),
        true=np.eye(len(weigh.CONDITIONS))[WEIGHTS.condition[way]],
        count=rng.uniform(0.3, 1.0, systems),
    )


def test_probabilities_are_those_of_the_product() -> None:
    measured = drawn(40, 1)
    found = tuple(
        Found(*(np.ascontiguousarray(column) for column in columns))
        for columns in zip(
            measured.deviation.T,
            np.zeros_like(measured.deviation.T),
            measured.sigma.T,
            measured.resting_s.T,
            strict=True,
        )
    )
    product = weigh.combine(found, WEIGHTS).probabilities
    np.testing.assert_allclose(
        Problem(measured, WEIGHTS).probabilities(START), product, rtol=1e-9, atol=1e-12
    )


@pytest.mark.parametrize("which", ["mean", "spread"])
def test_slopes_are_those_of_small_steps(which: str) -> None:
    problem = Problem(drawn(30, 2), WEIGHTS)
    slopes = dict(zip(("mean", "spread"), problem.loss(START)[1:], strict=True))[which]
    rng = np.random.default_rng(3)
    entries = rng.permutation(np.argwhere(START.own))[:25]
    step = 1e-6

    def at(entry: FloatArray, by: float) -> float:
        move = np.zeros_like(START.mean)
        move[tuple(entry)] = by
        nothing = np.zeros_like(move)
        if which == "mean":
            table = START.moved(move / START.spread, nothing)
        else:
            table = START.moved(nothing, move)
        return problem.loss(table)[0]

    steps = [(at(entry, step) - at(entry, -step)) / (2.0 * step) for entry in entries]
    assert np.abs(steps).max() > 0.02
    np.testing.assert_allclose(slopes[tuple(entries.T)], steps, rtol=1e-3, atol=1e-4)


def test_a_fit_finds_its_way_back_to_what_the_systems_follow() -> None:
    """Systems that follow the table, fitted from means that are off by a spread."""
    measured = drawn(400, 4)
    problem = Problem(measured, WEIGHTS)
    off = START.moved(np.where(START.own, 1.0, 0.0), np.zeros_like(START.mean))
    fitted = conditional.fit(problem, off, steps=30, say=lambda _: None)
    true, wrong, found = (problem.loss(table)[0] for table in (START, off, fitted))
    assert true < wrong
    assert found < wrong - 0.5 * (wrong - true)


def test_only_means_and_spreads_of_the_file_change() -> None:
    text = FILE.read_text(encoding="utf-8")
    moved = START.moved(np.full_like(START.mean, 0.5), np.full_like(START.mean, 0.1))
    before, after = tomllib.loads(text), tomllib.loads(rewritten(text, moved, WEIGHTS.hypotheses))
    weights = weigh.parse(after)
    for row, finding in enumerate(REGISTRY):
        made = weights.likelihoods[finding.name]
        if finding.name in KEPT:
            assert after["finding"][finding.name] == before["finding"][finding.name]
        else:
            np.testing.assert_allclose(made.mean, moved.mean[row], rtol=0.01, atol=0.006)
            np.testing.assert_allclose(made.spread, moved.spread[row], rtol=0.01, atol=0.006)
        assert made.reasons == WEIGHTS.likelihoods[finding.name].reasons
        np.testing.assert_array_equal(made.share, WEIGHTS.likelihoods[finding.name].share)
    assert after["prior"] == before["prior"]
