"""What quasi-steady detectors share: the settled circuit, and a grid no finer than needed."""

from __future__ import annotations

import numpy as np

from diagnostics.samples import FloatArray
from diagnostics.signals.state import State, States
from diagnostics.signals.timebase import BoolArray, Timebase

MEAN_S = 240.0
"""Quasi-steady mean: a pulsing valve and the thermistors' lag make the ratio of an instant
meaningless, a few periods of the valve do not."""

FINEST_S = 30.0
"""Means over minutes need no finer grid than this."""

TRANSIENTS = (State.STARTING, State.DEFROST, State.OIL_RETURN)
"""States in which valves follow a programme and the circuit stores or gives up liquid."""


def settled(states: States) -> BoolArray:
    """Running, outside the transients."""
    return np.asarray(states.running & ~np.isin(states.state, TRANSIENTS))


def stride(timebase: Timebase) -> int:
    """Every how many samples a quasi-steady quantity is worked out."""
    interval_s = timebase.interval_s
    return max(1, round(FINEST_S / interval_s)) if interval_s > 0 else 1


def spread(values: FloatArray, every: int, size: int) -> FloatArray:
    """Values of every ``every``-th sample, held until the next one, shape (size,)."""
    return np.repeat(values, every)[:size] if every > 1 else values
