"""The product with one of its steps taken out, for as long as a ``with`` lasts, in this process.

Nothing in the product knows of this: functions are replaced from outside, findings lose their
weight. What a step is worth is the exam without it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, ExitStack, contextmanager, nullcontext
from dataclasses import replace
from unittest import mock

import numpy as np
from numpy.typing import NDArray

from diagnostics import reduction, verdict
from diagnostics.channels import CALLS
from diagnostics.samples import FloatArray, Samples
from diagnostics.signals import direction, transducers
from diagnostics.signals.direction import Direction, Tuning
from diagnostics.signals.gather import Checked
from diagnostics.signals.state import State, States
from diagnostics.signals.timebase import BoolArray, Timebase
from diagnostics.weighing import weigh
from diagnostics.windows import Windows

COMPLETE = "the whole method"

CIRCUIT_FAMILIES = frozenset(
    {"charge", "evaporators", "indoor valves", "delivery", "valve motion", "subcooler"}
)
"""Families of findings that tell of the circuit; all others check instruments against it."""

Change = Callable[[], AbstractContextManager[object]]


def main_mode(samples: Samples, states: States) -> NDArray[np.int8]:
    """What a practitioner takes the unit to do: +1 cooling, -1 heating, shape (n,).

    A pure mode by itself; in simultaneous operation the side that more units call for.
    """
    call = samples.indoor.get("call")
    if call is None:
        return np.where(states.pure != 0, states.pure, 1).astype(np.int8)
    asks = np.nan_to_num(samples.indoor.get("demand", np.ones_like(call))) > 0
    cool = ((call == CALLS.index("cool")) & asks).sum(axis=0)
    heat = ((call == CALLS.index("heat")) & asks).sum(axis=0)
    return np.where(states.pure != 0, states.pure, np.where(cool >= heat, 1, -1)).astype(np.int8)


@contextmanager
def mode_decides() -> Iterator[None]:
    """The main mode instead of the inferred direction."""
    infer = direction.infer

    def by_mode(samples: Samples, timebase: Timebase, states: States, *more: Tuning) -> Direction:
        found = infer(samples, timebase, states, *more)
        return replace(found, sign=np.where(states.running, main_mode(samples, states), 0))

    with mock.patch.object(direction, "infer", by_mode):
        yield


@contextmanager
def no_offset() -> Iterator[None]:
    """Nothing is learned of the difference of the two liquid thermistors."""

    def unlearned(
        d_k: FloatArray,
        passing: BoolArray,
        timebase: Timebase,
        states: States,
        tuning: Tuning = direction.DEFAULT,
    ) -> tuple[float, float]:
        return 0.0, tuning.prior_offset_k

    with mock.patch.object(direction, "learn_offset", unlearned):
        yield


@contextmanager
def no_balance() -> Iterator[None]:
    """Simultaneous operation counts as the mode that more units call for."""
    reduce = reduction.reduce

    def unbalanced(signals: Checked) -> Windows:
        states = signals.states
        mode = main_mode(signals.samples, states)
        pure = np.where(states.state == State.SIMULTANEOUS, mode, states.pure).astype(np.int8)
        return reduce(replace(signals, states=replace(states, pure=pure)))

    with mock.patch.object(reduction, "reduce", unbalanced):
        yield


@contextmanager
def no_demand() -> Iterator[None]:
    """Any demand counts as high."""
    with mock.patch.object(reduction, "HIGH_DEMAND", 0.0):
        yield


@contextmanager
def no_expectation() -> Iterator[None]:
    """No past of the system's own."""

    def none(*given: object) -> None:
        return None

    with mock.patch.object(verdict, "baseline", none):
        yield


@contextmanager
def without_findings(names: frozenset[str]) -> Iterator[None]:
    """Findings that need endless data to count."""
    plain = weigh.table()
    likelihoods = {
        name: replace(likelihood, half_s=np.inf) if name in names else likelihood
        for name, likelihood in plain.likelihoods.items()
    }
    changed = replace(plain, likelihoods=likelihoods)
    with mock.patch.object(weigh, "table", return_value=changed):
        yield


def instrument_checks() -> frozenset[str]:
    """Names of the findings that tell a wrong reading from a wrong circuit."""
    likelihoods = weigh.table().likelihoods
    return frozenset(n for n, it in likelihoods.items() if it.family not in CIRCUIT_FAMILIES)


@contextmanager
def no_instrument_checks() -> Iterator[None]:
    """Readings are taken at their word."""
    with ExitStack() as stack:
        stack.enter_context(without_findings(instrument_checks()))
        stack.enter_context(mock.patch.object(transducers, "levelled", lambda samples, *_: samples))
        yield


CHANGES: dict[str, Change] = {
    COMPLETE: nullcontext,
    "without direction: the mode decides": mode_decides,
    "without the learned sensor offset": no_offset,
    "without the balance of heating and cooling": no_balance,
    "without demand: any counts as high": no_demand,
    "without the learned expectation": no_expectation,
    "without instrument checks": no_instrument_checks,
}
