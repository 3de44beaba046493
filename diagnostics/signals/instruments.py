"""Checks of the instruments against the physics: signals, not yet findings.

What tells faults apart:

- thermistor offset or leaking valve: with the valve commanded closed, an offset of the two liquid
  thermistors is the same at standstill, at any flow and in either direction; a leak cools the
  liquid on its way, so its effect turns with the direction and shrinks as the flow grows.
- valve stuck closed or thermistor off the pipe: behind a stuck valve both thermistors still move
  with the condensing temperature; one off its pipe moves less, and lies nearer to outdoor air.
- no effect or little flow: a thin stream is cooled more by a given opening, not less.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from diagnostics.plant import Plant
from diagnostics.refrigerant import Fluid
from diagnostics.samples import FloatArray, Samples
from diagnostics.signals import compressor, valve
from diagnostics.signals import timebase as tb
from diagnostics.signals.direction import Direction
from diagnostics.signals.quasisteady import MEAN_S, settled, spread, stride
from diagnostics.signals.state import States
from diagnostics.signals.timebase import BoolArray, Timebase

OUTDOOR_SIDE = "liquid_temperature_outdoor_side"
INDOOR_SIDE = "liquid_temperature_indoor_side"

STANDSTILL_S = 2700.0
"""Pressures meet and the circuit settles towards outdoor air in about three quarters of an hour;
common practice, no source."""

RESTING_S = 7200.0
"""Pipes inside the outdoor unit have come to outdoor air by then: four time constants of half an
hour; common practice, no source."""

RESPONSE_S = 180.0
"""Pipe and thermistor answer a change of the valve within three minutes."""

OPEN = 0.15
CLOSED = 0.01
"""Openings commanded: well above any dead band, and closed."""

CIRCUIT_SIGMA_K = 0.9
"""Standard uncertainty of a liquid temperature against saturation: thermistor 0.5 K, transducer
0.7 K (1 % of a 4.15 MPa span at 2.5 MPa)."""

OFFSET_PRIOR_K = 0.7
LEAK_PRIOR_K = 6.0
BLOCK_S = 1800.0
BLOCK_SIGMA_K = 0.4
"""Half an hour of samples is one independent reading of the closed difference, good to this."""

FAST_S = 900.0
LEAST_MOVEMENT_K = 0.8
USUAL_ANSWER = 0.25
"""Condensing temperature must move by this (rms, within a quarter of an hour, starts included) for
a thermistor's answer to be judged; a thermistor on its pipe answers by at least this share."""


@dataclass(frozen=True)
class Instruments:
    """Per-sample signals, shape (n,), NaN where a check does not apply; K and Pa.

    standstill_difference_pa: discharge less suction pressure after long off.
    standstill_discharge_k, standstill_suction_k: saturation less outdoor air then.
    resting: off for ``RESTING_S`` and more. resting_outdoor_side_k, resting_indoor_side_k,
    resting_suction_k: these thermistors less outdoor air then.
    above_saturation_k: hotter liquid thermistor less saturation less twice the uncertainty;
    above 0 is impossible.
    drop_valve_open_k: temperature drop along the liquid's way with the valve open, in pure modes.
    drop_valve_closed_k: the same with the valve commanded closed, less the thermistors' offset as
    told apart from a leak. expected_drop_k: the drop the opening should give.
    outdoor_side_tracks_air, indoor_side_tracks_air: 0 on the pipe .. 1 in the air.
    discharge_below_condensing_k: condensing temperature less discharge; above 0 is impossible.
    leak_k, leak_sigma_k: effect of a leaking valve at the usual flow, of the whole span;
    offset_k: the thermistors' offset (outdoor side less indoor side) that goes with it.
    """

    standstill_difference_pa: FloatArray
    standstill_discharge_k: FloatArray
    standstill_suction_k: FloatArray
    resting: BoolArray
    resting_outdoor_side_k: FloatArray
    resting_indoor_side_k: FloatArray
    resting_suction_k: FloatArray
    above_saturation_k: FloatArray
    drop_valve_open_k: FloatArray
    drop_valve_closed_k: FloatArray
    expected_drop_k: FloatArray
    outdoor_side_tracks_air: FloatArray
    indoor_side_tracks_air: FloatArray
    discharge_below_condensing_k: FloatArray
    leak_k: float
    leak_sigma_k: float
    offset_k: float


@dataclass(frozen=True)
class Closed:
    """What the difference of the liquid thermistors is made of while the valve is closed."""

    leak_k: float
    leak_sigma_k: float
    offset_k: float


def check(
    samples: Samples,
    timebase: Timebase,
    states: States,
    direction: Direction,
    fluid: Fluid,
    plant: Plant,
) -> Instruments:
    """All checks; samples cleaned."""
    calm = settled(states)
    standing = tb.lag(~states.running, timebase, STANDSTILL_S)
    resting = tb.lag(~states.running, timebase, RESTING_S) & ~np.isnan(
        samples.outdoor_or_nan("outdoor_air_temperature")
    )
    discharge = samples.outdoor_or_nan("discharge_pressure")
    suction = samples.outdoor_or_nan("suction_pressure")
    air = samples.outdoor_or_nan("outdoor_air_temperature")
    bubble = fluid.t_bubble_k(discharge)
    hottest = np.fmax(samples.outdoor_or_nan(OUTDOOR_SIDE), samples.outdoor_or_nan(INDOOR_SIDE))
    compressor_flow = _compressor_flow(samples, timebase, fluid, plant)
    opened, closed = _commanded(samples, timebase, calm & (states.pure != 0))
    way = states.pure.astype(float)
    made_of = _closed(samples, timebase, _Flow(way, compressor_flow), closed, standing)
    raw = _difference(samples)
    return Instruments(
        standstill_difference_pa=np.where(standing, discharge - suction, np.nan),
        standstill_discharge_k=np.where(standing, bubble - air, np.nan),
        standstill_suction_k=np.where(standing, fluid.t_bubble_k(suction) - air, np.nan),
        resting=resting,
        resting_outdoor_side_k=_above_air(samples, OUTDOOR_SIDE, resting),
        resting_indoor_side_k=_above_air(samples, INDOOR_SIDE, resting),
        resting_suction_k=_above_air(samples, "suction_temperature", resting),
        above_saturation_k=np.where(calm, hottest - bubble - 2 * CIRCUIT_SIGMA_K, np.nan),
        drop_valve_open_k=_smooth(way * direction.drop_k, timebase, opened),
        drop_valve_closed_k=_smooth(way * (raw - made_of.offset_k), timebase, closed),
        expected_drop_k=np.where(
            opened, _expected_drop(samples, timebase, compressor_flow, fluid, plant), np.nan
        ),
        outdoor_side_tracks_air=_tracks_air(samples, timebase, OUTDOOR_SIDE, bubble, states),
        indoor_side_tracks_air=_tracks_air(samples, timebase, INDOOR_SIDE, bubble, states),
        discharge_below_condensing_k=np.where(
            calm,
            fluid.t_dew_k(discharge) - samples.outdoor_or_nan("discharge_temperature"),
            np.nan,
        ),
        leak_k=made_of.leak_k,
        leak_sigma_k=made_of.leak_sigma_k,
        offset_k=made_of.offset_k,
    )


@dataclass(frozen=True)
class _Flow:
    """Direction (+1, -1, 0) and size [kg/s] of the flow in pure modes."""

    way: FloatArray
    size_kg_s: FloatArray


def _difference(samples: Samples) -> FloatArray:
    return samples.outdoor_or_nan(OUTDOOR_SIDE) - samples.outdoor_or_nan(INDOOR_SIDE)


def _above_air(samples: Samples, name: str, mask: BoolArray) -> FloatArray:
    air = samples.outdoor_or_nan("outdoor_air_temperature")
    return np.where(mask, samples.outdoor_or_nan(name) - air, np.nan)


def _smooth(values: FloatArray, timebase: Timebase, mask: BoolArray) -> FloatArray:
    mean = tb.rolling_mean(np.where(mask, values, np.nan), timebase, MEAN_S)
    return np.where(mask, mean, np.nan)


def _commanded(
    samples: Samples, timebase: Timebase, flowing: BoolArray
) -> tuple[BoolArray, BoolArray]:
    """Where the valve has been commanded open, and closed, long enough to show."""
    opening = samples.outdoor_or_nan("subcooler_valve")
    opened = tb.rolling_mean(opening, timebase, 2 * RESPONSE_S, centred=False) >= OPEN
    closed = tb.lag(opening <= CLOSED, timebase, RESPONSE_S)
    return flowing & opened & (opening > CLOSED), flowing & closed


def _compressor_flow(
    samples: Samples, timebase: Timebase, fluid: Fluid, plant: Plant
) -> FloatArray:
    every = stride(timebase)
    gas = compressor.SuctionGas(
        *(
            samples.outdoor_or_nan(name)[::every]
            for name in (
                "compressor_speed",
                "suction_pressure",
                "discharge_pressure",
                "suction_temperature",
            )
        )
    )
    flow = compressor.estimate(plant.compressor_displacement_m3, gas, fluid).flow_kg_s
    return spread(np.where(flow > 0, flow, np.nan), every, len(samples))


def _expected_drop(
    samples: Samples, timebase: Timebase, flow_kg_s: FloatArray, fluid: Fluid, plant: Plant
) -> FloatArray:
    """Drop [K] that the valve equation and the energy balance give with the compressor's flow.

    Never closer to the evaporating temperature of the bypass than a twentieth of the distance.
    """
    every = stride(timebase)
    opening = tb.rolling_mean(samples.outdoor_or_nan("subcooler_valve"), timebase, MEAN_S)[::every]
    discharge = samples.outdoor_or_nan("discharge_pressure")[::every]
    suction = samples.outdoor_or_nan("suction_pressure")[::every]
    bubble = fluid.t_bubble_k(discharge)
    warm = np.fmax(samples.outdoor_or_nan(OUTDOOR_SIDE), samples.outdoor_or_nan(INDOOR_SIDE))
    entering = np.minimum(warm[::every], bubble)
    velocity = valve.mass_velocity_kg_s_m2(
        fluid.rho_liquid_kg_m3(entering, discharge), discharge, suction
    )
    area = valve.area_m2(opening, valve.full_area_m2(plant))
    bypass = valve.mass_flow_kg_s(area, velocity)
    h = fluid.h_liquid_j_kg(entering, discharge)
    heat_j_kg_k = (h - fluid.h_liquid_j_kg(entering - 10.0, discharge)) / 10.0
    boiling = fluid.t_dew_k(suction)
    drop = bypass / flow_kg_s[::every] * (fluid.h_dew_j_kg(suction) - h) / heat_j_kg_k
    return spread(np.minimum(drop, 0.95 * (entering - boiling)), every, len(samples))


def _closed(
    samples: Samples, timebase: Timebase, flow: _Flow, closed: BoolArray, standing: BoolArray
) -> Closed:
    """Offset and leak from the thermistors' difference with the valve closed and at standstill.

    difference = offset + leak * way * (usual flow / flow), with no flow at standstill: linear
    Bayesian regression with zero-mean priors, so what the span cannot tell apart goes to the cause
    with the wider prior and shows in ``leak_sigma_k``.
    """
    difference = _difference(samples)
    use = (closed & ~np.isnan(flow.size_kg_s) | standing) & ~np.isnan(difference)
    usual = np.nanmedian(flow.size_kg_s[closed]) if np.any(closed & use) else np.nan
    if np.isnan(usual):
        return Closed(np.nan, np.nan, float(np.median(difference[use])) if use.any() else 0.0)
    x = np.where(standing, 0.0, flow.way * np.clip(usual / flow.size_kg_s, 0.3, 3.0))[use]
    y = difference[use]
    # A sample counts as its share of an independent half hour.
    weight = min(timebase.interval_s / BLOCK_S, 1.0) / BLOCK_SIGMA_K**2
    matrix = weight * np.array([[x.size, x.sum()], [x.sum(), x @ x]])
    matrix += np.diag([1 / OFFSET_PRIOR_K**2, 1 / LEAK_PRIOR_K**2])
    covariance = np.linalg.inv(matrix)
    offset, leak = covariance @ (weight * np.array([y.sum(), x @ y]))
    return Closed(float(leak), float(np.sqrt(covariance[1, 1])), float(offset))


def _tracks_air(
    samples: Samples, timebase: Timebase, name: str, bubble_k: FloatArray, states: States
) -> FloatArray:
    """How far a liquid thermistor is off its pipe, 0..1: sluggish, and near to outdoor air.

    The smaller of the part of the usual answer to the condensing temperature that it misses, and
    its nearness to air (0 at saturation, 1 at air). In hot weather the liquid of a flooded coil is
    near to air too, and answers little: then this is no proof.
    """
    liquid = samples.outdoor_or_nan(name)
    air = samples.outdoor_or_nan("outdoor_air_temperature")
    both = np.where(states.running, np.stack([liquid, bubble_k]), np.nan)
    both[:, np.isnan(both).any(axis=0)] = np.nan
    fast = tb.rolling_mean(both, timebase, 60.0) - tb.rolling_mean(both, timebase, FAST_S)
    known = ~np.isnan(fast[0])
    moves = fast[1][known]
    if not moves.size or np.sqrt(np.mean(moves**2)) < LEAST_MOVEMENT_K:
        return np.full(liquid.shape, np.nan)
    answer = float(fast[0][known] @ moves) / float(moves @ moves)
    missed = float(np.clip(1.0 - answer / USUAL_ANSWER, 0.0, 1.0))
    room = np.abs(bubble_k - air)
    with np.errstate(divide="ignore", invalid="ignore"):
        near = np.clip(1.0 - np.abs(liquid - air) / room, 0.0, 1.0)
    return np.where(settled(states) & (room > 2.0), np.minimum(near, missed), np.nan)
