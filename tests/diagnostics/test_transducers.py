"""The discharge transducer's error, read off at standstill."""

from __future__ import annotations

import numpy as np
import pytest

from diagnostics import timebase as tb
from diagnostics import transducers
from diagnostics.samples import Samples
from diagnostics.state import States
from tests.diagnostics.signals import running

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
