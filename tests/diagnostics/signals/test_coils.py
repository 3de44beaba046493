"""Pressures against coils: differences in pure cooling only, of the units that call for it."""

from __future__ import annotations

import numpy as np
import pytest

from diagnostics.channels import CALLS
from diagnostics.plant import Refrigerant
from diagnostics.refrigerant import fluid
from diagnostics.samples import FloatArray, Samples
from diagnostics.signals import coils, superheat
from diagnostics.signals.coils import Coils
from diagnostics.signals.state import State
from tests.diagnostics import made, record

N = 4
COOL, HEAT, FAN = (float(CALLS.index(word)) for word in ("cool", "heat", "fan"))
R410A = fluid(Refrigerant.R410A)


def compared(code: State = State.COOLING, **indoor: FloatArray) -> Coils:
    """Condensing at 45 degC, evaporating at 5 degC (dew points); the coil at 42 degC."""
    high, low = (float(R410A.p_bubble_pa(np.array([t]))[0]) for t in (318.15, 278.15))
    outdoor = {
        "discharge_pressure": high,
        "suction_pressure": low,
        "outdoor_coil_temperature": 315.15,
    }
    samples = record.running(N, 10.0, outdoor)
    samples = Samples(samples.time, samples.outdoor, indoor)
    states = made.states(N, code)
    circuit = superheat.measure(samples, states, R410A)
    return coils.compare(samples, states, circuit, record.plant())


def test_condensing_is_held_against_the_coil() -> None:
    """R-410A glides by a tenth of a kelvin between bubble and dew point."""
    assert compared().condensing_over_coil_k == pytest.approx(np.full(N, 3.0), abs=0.15)


@pytest.mark.parametrize("code", [State.HEATING, State.SIMULTANEOUS, State.OFF])
def test_nothing_is_compared_outside_pure_cooling(code: State) -> None:
    asked = {
        name: np.full((2, N), v)
        for name, v in (("liquid_pipe_temperature", 279.15), ("call", COOL), ("demand", 1.0))
    }
    found = compared(code, **asked)
    assert np.isnan(found.condensing_over_coil_k).all()
    assert np.isnan(found.evaporating_under_pipe_k).all()


def test_evaporating_is_held_against_the_coldest_pipe_of_those_that_ask_for_cooling() -> None:
    """Both ask: the colder; one asks; the colder heats or only blows; nobody asks."""
    pipes = np.array([[280.15, 280.15, 280.15, 280.15], [279.15, 279.15, 279.15, 279.15]])
    found = compared(
        liquid_pipe_temperature=pipes,
        call=np.array([[COOL, COOL, COOL, COOL], [COOL, COOL, HEAT, COOL]]),
        demand=np.array([[1.0, 1, 1, 0], [1.0, 0, 1, 0]]),
    )
    expected = [-1.0, -2.0, -2.0, np.nan]
    np.testing.assert_allclose(found.evaporating_under_pipe_k, expected, atol=0.15)
    unknown = compared(
        liquid_pipe_temperature=np.where(pipes < 280, np.nan, pipes),
        call=np.full((2, N), COOL),
        demand=np.ones((2, N)),
    )
    np.testing.assert_allclose(unknown.evaporating_under_pipe_k, np.full(N, -2.0), atol=0.15)
