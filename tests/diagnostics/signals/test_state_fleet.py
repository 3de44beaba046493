"""State and subcooling on simulated systems: the share told rightly, errors against uncertainty."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace

import numpy as np
import pytest

from diagnostics import refrigerant
from diagnostics.signals import cleaning, direction, state, subcooling, timebase
from diagnostics.signals.state import STATE_NAMES
from fixtures.simulator.simulate import simulate
from fixtures.simulator.spec import LogStyle, SystemSpec
from tests.diagnostics.simulated import mixed_building, samples_and_plant

SEEDS = range(6)


def agreement(specs: list[SystemSpec]) -> tuple[float, Counter[tuple[str, str]]]:
    """Share of samples whose state is told rightly, and the pairs (true, told) that are not."""
    wrong: Counter[tuple[str, str]] = Counter()
    total = 0
    for spec in specs:
        recording = simulate(spec)
        samples, plant = samples_and_plant(recording, spec)
        fluid = refrigerant.fluid(plant.refrigerant)
        states = state.classify(samples, timebase.of(samples), fluid, plant)
        told = np.array(STATE_NAMES)[states.state]
        total += told.size
        missed = told != recording.truth.state
        wrong.update(
            zip(recording.truth.state[missed].tolist(), told[missed].tolist(), strict=True)
        )
    return 1 - wrong.total() / total, wrong


@pytest.mark.parametrize(
    ("missing", "interval_s", "least"),
    [
        ((), 10, 0.985),
        ((), 60, 0.975),
        ((), 300, 0.95),
        (("reported_state",), 10, 0.975),
        (("call", "demand"), 10, 0.985),
    ],
)
def test_states_agree_with_the_truth(
    missing: tuple[str, ...], interval_s: int, least: float
) -> None:
    style = LogStyle(missing=missing)
    specs = [replace(mixed_building(seed, interval_s), style=style) for seed in SEEDS]
    share, wrong = agreement(specs)
    assert share >= least, wrong.most_common(5)
    # A sample is never told to be at rest while it runs, nor cooling for heating.
    for pair in (("cooling", "heating"), ("heating", "cooling"), ("simultaneous", "off")):
        assert wrong[pair] == 0


def test_cleaning_takes_nothing_from_healthy_systems() -> None:
    for seed in SEEDS:
        for interval_s in (10, 300):
            spec = mixed_building(seed, interval_s)
            samples, _ = samples_and_plant(simulate(spec), spec)
            cleaned = cleaning.clean(samples)
            assert not any(flat.any() for flat in cleaned.flatline.values())
            for name, values in samples.outdoor.items():
                taken = np.isnan(cleaned.samples.outdoor[name]) & ~np.isnan(values)
                assert taken.mean() < 1e-4


def test_subcooling_errs_as_much_as_it_says() -> None:
    """Against the true upstream subcooling: about 95 % of steady samples within two sigmas.

    The sensors' biases belong to a whole system, so the share varies from system to system.
    """
    inside, ratio = [], []
    for seed in range(12):
        spec = mixed_building(seed, 60)
        recording = simulate(spec)
        samples, plant = samples_and_plant(recording, spec)
        fluid = refrigerant.fluid(plant.refrigerant)
        base = timebase.of(samples)
        states = state.classify(samples, base, fluid, plant)
        way = direction.infer(samples, base, states)
        told = subcooling.measure(samples, way, states, fluid, plant)
        error = told.upstream_k - recording.truth.upstream_subcooling_k
        judged = states.steady & ~np.isnan(error)
        inside.append(float(np.mean(np.abs(error[judged]) <= 2 * told.sigma_k[judged])))
        ratio.append(float(np.mean(error[judged] / told.sigma_k[judged])))
    assert np.mean(inside) >= 0.85
    assert 0.4 <= np.std(ratio) <= 1.4
