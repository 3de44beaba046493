"""The discharge transducer's error, read off at standstill."""

from __future__ import annotations

import numpy as np
import pytest

from diagnostics.samples import Samples
from diagnostics.signals import timebase as tb
from diagnostics.signals import transducers
from diagnostics.signals.state import States
from tests.diagnostics.record import running

N = 1080


def _levelled(off_by_pa: float, *, stands: int) -> Samples:
    """Three hours at 10 s: ``stands`` samples at rest with pressures that differ, then a run."""
    rest = np.arange(N) < stands
    samples = running(
        N,
        outdoor={
            "compressor_speed": np.where(rest, 0.0, 60.0),
            "discharge_pressure": np.where(rest, 1.6e6 + off_by_pa, 2.5e6),
            "suction_pressure": np.where(rest, 1.6e6, 0.8e6),
        },
    )
    states = States(np.zeros(N, np.int8), ~rest, np.zeros(N, bool), np.zeros(N, np.int8))
    return transducers.levelled(samples, tb.of(samples), states)


def test_most_of_the_difference_at_standstill_is_taken_off_the_discharge_pressure() -> None:
    pressure = _levelled(30e3, stands=700).outdoor["discharge_pressure"]
    assert pressure[-1] == pytest.approx(2.5e6 - 0.856 * 30e3, rel=1e-4)


def test_a_difference_too_large_for_the_class_is_left_for_the_findings() -> None:
    assert _levelled(150e3, stands=700).outdoor["discharge_pressure"][-1] == 2.5e6


def test_a_short_stop_teaches_nothing() -> None:
    assert _levelled(30e3, stands=280).outdoor["discharge_pressure"][-1] == 2.5e6


def _levelled_by(off_by_pa: float, seconds: int) -> float:
    """How much is taken off after a stop that is logged every second."""
    rest = np.arange(seconds + 10) < seconds
    samples = running(
        rest.size,
        1.0,
        {
            "discharge_pressure": np.where(rest, 1.6e6 + off_by_pa, 2.5e6),
            "suction_pressure": np.where(rest, 1.6e6, 0.8e6),
        },
    )
    none = np.zeros(rest.size, np.int8)
    states = States(none, ~rest, np.zeros(rest.size, bool), none)
    level = transducers.levelled(samples, tb.of(samples), states)
    return 2.5e6 - float(level.outdoor["discharge_pressure"][-1])


def test_ten_minutes_of_pressures_that_have_met_are_enough() -> None:
    """They meet in 45 minutes; so 55 minutes of stop, to the second."""
    first = next(s for s in range(3290, 3310) if _levelled_by(30e3, s) > 0.0)
    assert first == 2700 + 600
    assert _levelled_by(30e3, first) == pytest.approx(0.856 * 30e3, rel=1e-3)


@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_sixty_kilopascals_are_the_most_that_is_taken_for_the_class(sign: float) -> None:
    """4.15^2 / (4.15^2 + 1.7^2) = 0.8563 of it, whichever way."""
    assert _levelled_by(sign * 60e3, 4000) == pytest.approx(sign * 0.8563 * 60e3, rel=1e-3)
    assert _levelled_by(sign * 60.1e3, 4000) == 0.0
