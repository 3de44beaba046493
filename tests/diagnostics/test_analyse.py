"""What the way in promises of its results."""

from __future__ import annotations

from dataclasses import fields

import numpy as np
import pytest

from diagnostics.analyse import ASKED_OF_INDOOR, SampleResults, analyse, sample_by_sample
from diagnostics.samples import Samples
from fixtures.simulator.simulate import simulate
from tests.diagnostics.simulated import mixed_building, samples_and_plant

SEEDS = (3, 8)


@pytest.mark.parametrize("seed", SEEDS)
def test_samples_rest_on_few_of_the_indoor_channels(seed: int) -> None:
    spec = mixed_building(seed, 30)
    samples, plant = samples_and_plant(simulate(spec), spec)
    few = {name: values for name, values in samples.indoor.items() if name in ASKED_OF_INDOOR}
    assert set(few) < set(samples.indoor)
    whole = analyse(samples, plant)
    asked = sample_by_sample(Samples(samples.time, samples.outdoor, few), plant)
    for spec_of in fields(SampleResults):
        np.testing.assert_array_equal(
            getattr(asked, spec_of.name), getattr(whole, spec_of.name), err_msg=spec_of.name
        )
