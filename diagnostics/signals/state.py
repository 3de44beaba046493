"""What the system is doing, sample by sample.

Order of trust: what the rooms ask for; the unit's own word; the outdoor coil against outdoor air
(warmer condenses, colder evaporates). Rooms cannot tell of defrost and oil return, so there the
unit's own word comes first.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum

import numpy as np
from numpy.typing import NDArray

from diagnostics.channels import CALLS
from diagnostics.channels import STATES as REPORTED
from diagnostics.plant import Plant
from diagnostics.refrigerant import Fluid
from diagnostics.samples import FloatArray, Samples
from diagnostics.signals import timebase as tb
from diagnostics.signals.timebase import BoolArray, Timebase

CodeArray = NDArray[np.int8]


class State(IntEnum):
    """Operating state of a system."""

    OFF = 0
    STARTING = 1
    COOLING = 2
    HEATING = 3
    SIMULTANEOUS = 4
    DEFROST = 5
    OIL_RETURN = 6


STATE_NAMES = tuple(state.name.lower() for state in State)

RUNNING_RPS = 0.5
RUNNING_PRESSURE_RATIO = 1.3
"""Without a speed, a pressure ratio above this means that a compressor turns."""

START_S = 300.0
"""Pressures and superheats need about five minutes after a start (common practice, no source)."""
REVERSAL_S = 180.0
RUN_ON_S = 600.0
"""A mode stands for this long after the last room stopped asking while the compressor runs on."""

COIL_K = 1.5
DEFROST_COIL_K = 4.0
FORCED_VALVE_SHARE = 0.5
SPELL_LONGEST_S = 1200.0
"""Without the unit's own word: a coil this much warmer than the air while rooms only ask for heat
is being defrosted; idle units with valves open beyond this share of the widest opening of the span
are in oil return (common practice, no source). A longer spell is something else, such as a wrong
thermistor."""

DRIFT_WINDOW_S = 300.0
DRIFT_K = 1.0
DRIFT_SPEED_SHARE = 0.08
"""Steady: means over the five minutes before and after a sample differ by less than this in
saturation temperature and, relative, in speed. Longer than any hunting period (30 s to 5 min), so
a limit cycle about a level is steady."""


@dataclass(frozen=True)
class States:
    """Operating state per sample, all shape (n,).

    state: values of State. running: a compressor turns. steady: running, and neither saturation
    temperatures nor speed drift. pure: +1 only cooling, -1 only heating (also while starting),
    0 else.
    """

    state: CodeArray
    running: BoolArray
    steady: BoolArray
    pure: CodeArray


def classify(samples: Samples, timebase: Timebase, fluid: Fluid, plant: Plant) -> States:
    """The operating state of every sample; with no channel to tell, OFF."""
    running = _running(samples, timebase)
    reported = _reported(samples, timebase)
    mode = _mode(samples, timebase, plant, running, reported)
    if "reported_state" in samples.outdoor:
        defrost, oil_return = reported == State.DEFROST, reported == State.OIL_RETURN
    else:
        defrost, oil_return = _defrost(samples, timebase, mode), _oil_return(samples, timebase)
    defrost, oil_return = defrost & running, oil_return & running & ~defrost
    special = defrost | oil_return
    state = np.where(running, mode, State.OFF).astype(np.int8)
    state[defrost], state[oil_return] = State.DEFROST, State.OIL_RETURN
    pure = np.zeros(len(samples), np.int8)
    pure[state == State.COOLING] = 1
    pure[state == State.HEATING] = -1
    # Oil return runs as cooling does, so only heating has to turn back after it.
    turned_back = tb.starts(~special) & (np.roll(defrost, 1) | (pure < 0))
    state[_starting(running, turned_back, pure, timebase) & ~special] = State.STARTING
    steady = _steady(samples, timebase, fluid, running)
    steady &= (state >= State.COOLING) & (state <= State.SIMULTANEOUS)
    return States(state, running, steady, pure)


def _running(samples: Samples, timebase: Timebase) -> BoolArray:
    speed = tb.hold(samples.outdoor_or_nan("compressor_speed"), timebase)
    ratio = samples.outdoor_or_nan("discharge_pressure") / samples.outdoor_or_nan(
        "suction_pressure"
    )
    by_pressure = tb.hold(ratio, timebase) > RUNNING_PRESSURE_RATIO
    return np.where(np.isnan(speed), by_pressure, speed > RUNNING_RPS)


def _reported(samples: Samples, timebase: Timebase) -> CodeArray:
    """The unit's own word as a State; OFF also where it says nothing."""
    said = tb.hold(samples.outdoor_or_nan("reported_state"), timebase)
    meaning = np.array([State[name.upper()] for name in REPORTED], dtype=np.int8)
    return np.where(np.isnan(said), State.OFF, meaning[np.nan_to_num(said).astype(np.intp)])


def _mode(
    samples: Samples, timebase: Timebase, plant: Plant, running: BoolArray, reported: CodeArray
) -> CodeArray:
    """COOLING, HEATING or SIMULTANEOUS where it can be told, else OFF."""
    mode = _asked(samples, timebase, plant)
    usual = (reported >= State.COOLING) & (reported <= State.SIMULTANEOUS)
    mode = np.where((mode == State.OFF) & usual, reported, mode)
    coil_above_k = samples.outdoor_or_nan("outdoor_coil_temperature") - samples.outdoor_or_nan(
        "outdoor_air_temperature"
    )
    by_coil = np.select(
        [coil_above_k > COIL_K, coil_above_k < -COIL_K], [State.COOLING, State.HEATING]
    )
    run_on = _last_mode(mode, timebase, running)
    mode = np.where(mode == State.OFF, run_on, mode)
    return np.where(mode == State.OFF, by_coil, mode).astype(np.int8)


def _last_mode(mode: CodeArray, timebase: Timebase, running: BoolArray) -> CodeArray:
    known = (mode != State.OFF) & running
    if not known.any():
        return np.zeros(mode.size, np.int8)
    last = np.maximum.accumulate(np.where(known, np.arange(mode.size), 0))
    recent = tb.seconds_since(known, timebase) <= RUN_ON_S
    return np.where(recent & running, mode[last], State.OFF).astype(np.int8)


def _asked(samples: Samples, timebase: Timebase, plant: Plant) -> CodeArray:
    """What the rooms with demand ask for together; OFF where none asks or nothing is known."""
    if "call" not in samples.indoor:
        return np.zeros(len(samples), np.int8)
    call = tb.hold(samples.indoor["call"], timebase)
    # A unit whose demand is not logged is taken at its call.
    asking = tb.hold(samples.indoor_or_nan("demand", len(plant.indoor)), timebase) != 0
    cool = ((call == CALLS.index("cool")) & asking).any(axis=0)
    heat = ((call == CALLS.index("heat")) & asking).any(axis=0)
    pick = np.select([cool & heat, cool, heat], [State.SIMULTANEOUS, State.COOLING, State.HEATING])
    return pick.astype(np.int8)


def _defrost(samples: Samples, timebase: Timebase, mode: CodeArray) -> BoolArray:
    """Short spells of a warm outdoor coil while rooms only ask for heat."""
    warmer_k = samples.outdoor_or_nan("outdoor_coil_temperature") - samples.outdoor_or_nan(
        "outdoor_air_temperature"
    )
    return _short((mode == State.HEATING) & (warmer_k > DEFROST_COIL_K), timebase)


def _oil_return(samples: Samples, timebase: Timebase) -> BoolArray:
    """Short spells in which units that do not ask have their valves open as wide as the others."""
    if not {"valve", "call"} <= samples.indoor.keys():
        return np.zeros(len(samples), bool)
    valve = tb.hold(samples.indoor["valve"], timebase)
    demand = tb.hold(samples.indoor_or_nan("demand", valve.shape[0]), timebase)
    # Only a unit known not to ask says anything: an open valve is usual in all others.
    idle = demand == 0
    # Full travel is not known in the unit of the file, so the span's widest opening stands for it.
    widest = np.nanmax(valve, initial=0.0)
    forced = (valve > FORCED_VALVE_SHARE * widest) | np.isnan(valve)
    return _short(idle.any(axis=0) & forced.all(axis=0), timebase)


def _short(mask: BoolArray, timebase: Timebase) -> BoolArray:
    """Those spells that are over within SPELL_LONGEST_S, each with its own end in sight."""
    age = tb.seconds_since(~mask, timebase) + tb.seconds_until(~mask, timebase)
    return np.asarray(mask & (age <= SPELL_LONGEST_S))


def _starting(
    running: BoolArray, turned_back: BoolArray, pure: CodeArray, timebase: Timebase
) -> BoolArray:
    started = tb.starts(running)
    reversed_ = np.zeros(running.size, bool)
    reversed_[1:] = pure[1:] * pure[:-1] < 0
    reversed_ |= turned_back
    recent = tb.seconds_since(started, timebase) <= START_S
    recent |= tb.seconds_since(reversed_, timebase) <= REVERSAL_S
    return np.asarray(running & recent)


def _steady(samples: Samples, timebase: Timebase, fluid: Fluid, running: BoolArray) -> BoolArray:
    speed = np.maximum(samples.outdoor_or_nan("compressor_speed"), RUNNING_RPS)
    te_k = fluid.t_dew_k(samples.outdoor_or_nan("suction_pressure"))
    tc_k = fluid.t_dew_k(samples.outdoor_or_nan("discharge_pressure"))
    drift = np.stack(
        [
            _drift(np.log(speed) / DRIFT_SPEED_SHARE, timebase),
            _drift(te_k / DRIFT_K, timebase),
            _drift(tc_k / DRIFT_K, timebase),
        ]
    )
    known = ~np.isnan(drift).all(axis=0)
    calm = ~(np.abs(drift) > 1.0).any(axis=0)
    return np.asarray(running & known & calm)


def _drift(values: FloatArray, timebase: Timebase) -> FloatArray:
    """Mean over the window after each sample less the mean over the window before it."""
    reach_s = max(DRIFT_WINDOW_S, 2 * timebase.interval_s)
    before = tb.rolling_mean(values, timebase, reach_s, centred=False)
    ahead = timebase.window(0.0, reach_s)
    return tb.window_mean(values, *ahead) - before
