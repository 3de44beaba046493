"""Superheats, pressure ratio and attainment of targets."""

from __future__ import annotations

import numpy as np
import pytest

from diagnostics.plant import Refrigerant
from diagnostics.refrigerant import fluid
from diagnostics.samples import FloatArray, Samples
from diagnostics.signals import superheat
from diagnostics.signals.state import State, States
from diagnostics.signals.superheat import Circuit
from tests.diagnostics.record import celsius, running

N = 6


def measure(samples: Samples, refrigerant: Refrigerant, runs: bool = True) -> Circuit:
    on = np.full(len(samples), runs)
    code = np.full(len(samples), State.COOLING if runs else State.OFF, np.int8)
    return superheat.measure(samples, States(code, on, on, code * 0), fluid(refrigerant))


def at(refrigerant: Refrigerant, **changes: FloatArray | float) -> Samples:
    """Evaporating at 7 degC and condensing at 45 degC (dew points), 8 K and 30 K superheat."""
    properties = fluid(refrigerant)
    columns: dict[str, FloatArray | float] = {
        "suction_pressure": float(properties.p_dew_pa(celsius(7.0))[0]),
        "discharge_pressure": float(properties.p_dew_pa(celsius(45.0))[0]),
        "suction_temperature": float(celsius(15.0)),
        "discharge_temperature": float(celsius(75.0)),
        "evaporating_target": float(celsius(6.0)),
        "condensing_target": float(celsius(46.0)),
    }
    return running(N, outdoor=columns | changes)


@pytest.mark.parametrize("refrigerant", list(Refrigerant))
def test_superheat_counts_from_the_dew_point(refrigerant: Refrigerant) -> None:
    circuit = measure(at(refrigerant), refrigerant)
    assert circuit.suction_superheat_k == pytest.approx(8.0, abs=1e-3)
    assert circuit.discharge_superheat_k == pytest.approx(30.0, abs=1e-3)
    assert circuit.evaporating_k == pytest.approx(280.15, abs=1e-3)
    assert circuit.condensing_k == pytest.approx(318.15, abs=1e-3)


def test_attainment_is_the_saturation_temperature_less_its_target() -> None:
    circuit = measure(at(Refrigerant.R410A), Refrigerant.R410A)
    assert circuit.evaporating_error_k == pytest.approx(1.0, abs=1e-3)
    assert circuit.condensing_error_k == pytest.approx(-1.0, abs=1e-3)


def test_the_pressure_ratio_at_seven_and_forty_five_degrees() -> None:
    # R-410A, Te 7 and Tc 45 degC: 2.75 (computed from the equation of state).
    circuit = measure(at(Refrigerant.R410A), Refrigerant.R410A)
    assert circuit.pressure_ratio == pytest.approx(2.75, abs=0.02)


def test_nothing_is_told_while_off() -> None:
    circuit = measure(at(Refrigerant.R32), Refrigerant.R32, runs=False)
    for values in vars(circuit).values():
        assert np.isnan(values).all()


@pytest.mark.parametrize(
    ("missing", "lost"),
    [
        ("suction_temperature", {"suction_superheat_k"}),
        ("discharge_temperature", {"discharge_superheat_k"}),
        ("condensing_target", {"condensing_error_k"}),
        (
            "suction_pressure",
            {"suction_superheat_k", "pressure_ratio", "evaporating_k", "evaporating_error_k"},
        ),
    ],
)
def test_a_missing_channel_takes_only_what_depends_on_it(missing: str, lost: set[str]) -> None:
    samples = at(Refrigerant.R410A)
    left = {name: values for name, values in samples.outdoor.items() if name != missing}
    circuit = measure(Samples(samples.time, left, {}), Refrigerant.R410A)
    assert {name for name, values in vars(circuit).items() if np.isnan(values).all()} == lost


def test_liquid_coming_back_shows_as_no_superheat() -> None:
    wet = at(Refrigerant.R410A, suction_temperature=float(celsius(6.5)))
    assert measure(wet, Refrigerant.R410A).suction_superheat_k == pytest.approx(-0.5, abs=1e-3)
