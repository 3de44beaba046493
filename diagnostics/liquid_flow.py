"""How much liquid runs through the main passage of the subcooler.

Two relations. The subcooler's energy balance gives the ratio of bypass to main stream, and the
valve equation the bypass itself. The compressor's flow gives the main stream where all of it passes
the subcooler, in pure cooling and pure heating. Where both hold they are combined by inverse
variance of their logarithms; in simultaneous operation the main stream is only the imbalance, and
only the balance holds.

Bounds are 95 %. The valve is never known to be calibrated, see ``diagnostics.valve``.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from diagnostics import compressor, timebase, valve
from diagnostics.direction import Direction
from diagnostics.plant import BranchSide, Plant
from diagnostics.refrigerant import Fluid
from diagnostics.samples import FloatArray, Samples
from diagnostics.state import State, States
from diagnostics.timebase import BoolArray, Timebase

MEAN_S = 240.0
"""Quasi-steady mean: a pulsing valve and the thermistors' lag make the ratio of an instant
meaningless, a few periods of the valve do not."""

LEAST_SUBCOOLING_K = 1.5
"""Below it liquid may flash ahead of the valve and its equation fails."""

LEAST_GAS_SUPERHEAT_K = 1.0
"""Below it drops may leave with the bypass gas, and its enthalpy is not known."""

LARGEST_DROP_ERROR = 0.35
"""Relative standard error of the temperature drop: two thermistors of 0.5 K at a drop of 2 K."""

THERMISTOR_SIGMA_K = 0.5
GAS_SIGMA_K = 1.5
SMALLEST_SIGMA_K = 0.1
LARGEST_BYPASS_RATIO = 0.35
"""A subcooler's bypass does not take more of the main stream; common practice, no source."""


@dataclass(frozen=True)
class LiquidFlow:
    """Mass flows [kg/s], each shape (n,); NaN where they cannot be told.

    main, low, high: stream through the main passage of the subcooler and its 95 % bounds. Where
    ``quantified`` is False, main is NaN and the bounds say what is known nevertheless (a stream
    cannot exceed the compressor's flow). bypass: by the valve equation. balance: main stream by
    valve equation and energy balance alone. compressor, compressor_low, compressor_high: flow of
    all compressors. bypass_ratio: bypass over main stream by the energy balance, no valve needed.
    """

    main_kg_s: FloatArray
    low_kg_s: FloatArray
    high_kg_s: FloatArray
    bypass_kg_s: FloatArray
    balance_kg_s: FloatArray
    compressor_kg_s: FloatArray
    compressor_low_kg_s: FloatArray
    compressor_high_kg_s: FloatArray
    bypass_ratio: FloatArray
    quantified: BoolArray


@dataclass(frozen=True)
class Stream:
    """The subcooler at each sample, as quasi-steady means; K, Pa, fraction; shape (n,).

    entering_k and leaving_k: main stream; drop_sigma_k: standard uncertainty of their difference.
    gas_k: bypass gas leaving, NaN where it is not logged. line_pa: pressure of the liquid;
    line_sigma_pa its uncertainty. bypass_kg_s: by the valve equation.
    """

    sign: FloatArray
    entering_k: FloatArray
    leaving_k: FloatArray
    drop_sigma_k: FloatArray
    gas_k: FloatArray
    line_pa: FloatArray
    line_sigma_pa: FloatArray
    suction_pa: FloatArray
    opening: FloatArray
    bypass_kg_s: FloatArray


@dataclass(frozen=True)
class Logarithm:
    """Natural logarithm of a positive quantity and its standard uncertainty; NaN = not known."""

    value: FloatArray
    sigma: FloatArray


def ratio_branch_upstream(
    h_entering: FloatArray, h_leaving: FloatArray, h_gas: FloatArray
) -> FloatArray:
    """Bypass over main stream, bypass taken off before the subcooler; enthalpies in J/kg.

    ``m_b / m = (h_u - h_d) / (h_o - h_u)``, from the energy balance of the whole exchanger.
    """
    return np.asarray((h_entering - h_leaving) / (h_gas - h_entering))


def ratio_branch_downstream(
    h_entering: FloatArray, h_leaving: FloatArray, h_gas: FloatArray
) -> FloatArray:
    """Bypass over main stream, bypass taken off after the subcooler; enthalpies in J/kg.

    ``m_b / m = (h_u - h_d) / (h_o - h_d)``.
    """
    return np.asarray((h_entering - h_leaving) / (h_gas - h_leaving))


def combine(first: Logarithm, second: Logarithm) -> Logarithm:
    """Mean weighted by inverse variance; one alone where the other is not known.

    Two that disagree by more than their uncertainties widen the result by their Birge ratio
    (Birge, Physical Review 40:207-227, 1932), so a wrong valve or transducer shows as a wide band.
    """
    w1, w2 = (np.where(np.isnan(x.value), 0.0, 1.0 / x.sigma**2) for x in (first, second))
    w1, w2 = np.nan_to_num(w1), np.nan_to_num(w2)
    total = w1 + w2
    empty = np.full(total.shape, np.nan)
    a, b = np.nan_to_num(first.value), np.nan_to_num(second.value)
    mean = np.divide(w1 * a + w2 * b, total, out=empty.copy(), where=total > 0)
    chi_square = np.divide(
        w1 * w2 * (a - b) ** 2, total, out=np.ones_like(total), where=(w1 > 0) & (w2 > 0)
    )
    variance = np.divide(np.maximum(chi_square, 1.0), total, out=empty, where=total > 0)
    return Logarithm(mean, np.sqrt(variance))


def estimate(
    samples: Samples, states: States, direction: Direction, fluid: Fluid, plant: Plant
) -> LiquidFlow:
    """Main stream with bounds at every sample, from cleaned samples."""
    flow = _compressor(samples, states, fluid, plant)
    stream = _stream(samples, states, direction, fluid, plant)
    branch = _branch(stream, plant)
    ratio = _bypass_ratio(stream, branch, fluid)
    balance = _minus(_bypass(stream, plant), ratio)
    whole = _from_compressor(flow, ratio, branch, stream)
    pure = states.pure != 0
    main = combine(balance, _where(pure & _settled(states), whole))
    known = ~np.isnan(main.value)
    middle = np.exp(main.value)
    low, high = np.exp(main.value - 2 * main.sigma), np.exp(main.value + 2 * main.sigma)
    # No more liquid can pass than the compressor moves.
    ceiling = np.where(np.isnan(flow.high_kg_s), np.inf, flow.high_kg_s)
    high = np.where(known, np.minimum(high, ceiling), flow.high_kg_s)
    low = np.where(known, np.minimum(low, ceiling), np.where(np.isnan(flow.high_kg_s), np.nan, 0.0))
    return LiquidFlow(
        main_kg_s=np.minimum(middle, ceiling),
        low_kg_s=low,
        high_kg_s=high,
        bypass_kg_s=stream.bypass_kg_s,
        balance_kg_s=np.exp(balance.value),
        compressor_kg_s=flow.flow_kg_s,
        compressor_low_kg_s=flow.low_kg_s,
        compressor_high_kg_s=flow.high_kg_s,
        bypass_ratio=np.exp(ratio.value),
        quantified=known,
    )


def _compressor(
    samples: Samples, states: States, fluid: Fluid, plant: Plant
) -> compressor.CompressorFlow:
    off = ~states.running
    gas = compressor.SuctionGas(
        np.where(off, np.nan, samples.outdoor_or_nan("compressor_speed")),
        samples.outdoor_or_nan("suction_pressure"),
        samples.outdoor_or_nan("discharge_pressure"),
        samples.outdoor_or_nan("suction_temperature"),
    )
    return compressor.estimate(plant.compressor_displacement_m3, gas, fluid)


def _settled(states: States) -> BoolArray:
    """Running, outside the transients in which the circuit stores or gives up liquid."""
    transient = np.isin(states.state, (State.STARTING, State.DEFROST, State.OIL_RETURN))
    return np.asarray(states.running & ~transient)


def _stream(
    samples: Samples, states: States, direction: Direction, fluid: Fluid, plant: Plant
) -> Stream:
    """Quasi-steady means that reach over no gap and no change of state or direction."""
    settled = _settled(states)
    # The physics fixes the direction in a pure mode even where the thermistors are silent.
    sign = np.where(states.pure != 0, states.pure, direction.sign).astype(float)
    base = _pieces(timebase.of(samples), sign, settled)
    outdoor_side = samples.outdoor_or_nan("liquid_temperature_outdoor_side")
    indoor_side = samples.outdoor_or_nan("liquid_temperature_indoor_side")
    entering = np.where(sign > 0, outdoor_side, indoor_side)
    discharge, suction, opening = (
        samples.outdoor_or_nan(name)
        for name in ("discharge_pressure", "suction_pressure", "subcooler_valve")
    )
    area = valve.area_m2(opening, valve.full_area_m2(plant))
    rows = np.stack(
        [
            entering,
            sign * direction.drop_k,
            discharge / 1e5,
            suction / 1e5,
            opening,
            area * 1e6,
            samples.outdoor_or_nan("subcooler_gas_temperature"),
        ]
    )
    rows[:, ~settled | (sign == 0)] = np.nan
    entering, drop, discharge, suction, opening, area, gas = timebase.rolling_mean(
        rows, base, MEAN_S
    )
    discharge, suction = discharge * 1e5, suction * 1e5
    line, line_sigma = _line_pressure(entering, discharge, sign, fluid)
    rho = fluid.rho_liquid_kg_m3(entering, line)
    velocity = valve.mass_velocity_kg_s_m2(rho, line, suction)
    return Stream(
        sign=sign,
        entering_k=entering,
        leaving_k=entering - drop,
        drop_sigma_k=np.full(sign.shape, _drop_sigma_k(direction)),
        gas_k=gas,
        line_pa=line,
        line_sigma_pa=line_sigma,
        suction_pa=suction,
        opening=opening,
        bypass_kg_s=valve.mass_flow_kg_s(area * 1e-6, velocity),
    )


def _pieces(base: Timebase, sign: FloatArray, settled: BoolArray) -> Timebase:
    """The time base with a new segment wherever the direction or the state turns."""
    turn = np.zeros(sign.size, np.int32)
    turn[1:] = (np.diff(sign) != 0) | (settled[1:] != settled[:-1]) | (np.diff(base.segment) > 0)
    return Timebase(base.seconds, base.interval_s, np.cumsum(turn, dtype=np.int32))


def _drop_sigma_k(direction: Direction) -> float:
    learned = direction.offset_sigma_k
    unlearned = THERMISTOR_SIGMA_K * np.sqrt(2.0)
    sigma = unlearned if np.isnan(learned) else min(learned, unlearned)
    return float(max(sigma, SMALLEST_SIGMA_K))


def _line_pressure(
    entering_k: FloatArray, discharge_pa: FloatArray, sign: FloatArray, fluid: Fluid
) -> tuple[FloatArray, FloatArray]:
    """Pressure of the liquid [Pa] and its standard uncertainty.

    To the indoor units it is the discharge pressure; to the outdoor coil it has passed the indoor
    valves and lies anywhere between discharge pressure and saturation of the liquid.
    """
    floor = np.minimum(fluid.p_bubble_pa(entering_k), discharge_pa)
    middle = np.where(sign > 0, discharge_pa, (discharge_pa + floor) / 2)
    sigma = np.where(sign > 0, 0.01 * discharge_pa, (discharge_pa - floor) / 4)
    return middle, sigma


def _bypass(stream: Stream, plant: Plant) -> Logarithm:
    """Bypass by the valve equation, where the valve is open enough and its inlet liquid."""
    band = valve.relative_band(stream.opening, plant)
    drop_pa = np.maximum(stream.line_pa - stream.suction_pa, 1.0)
    sigma = np.hypot(np.log1p(band) / 2, stream.line_sigma_pa / (2 * drop_pa))
    usable = (stream.bypass_kg_s > 0) & ~np.isnan(sigma)
    return _log(stream.bypass_kg_s, sigma, usable)


def _branch(stream: Stream, plant: Plant) -> FloatArray:
    """1 where the bypass is taken off before the subcooler, -1 after it, 0 not known."""
    if plant.subcooler_branch_side is None:
        return np.zeros(stream.sign.shape)
    first = 1.0 if plant.subcooler_branch_side is BranchSide.OUTDOOR else -1.0
    return np.where(stream.sign == first, 1.0, -1.0)


def _bypass_ratio(stream: Stream, branch: FloatArray, fluid: Fluid) -> Logarithm:
    """Bypass over main stream by the energy balance; both branch sides where it is not known."""
    p = stream.line_pa
    t = np.concatenate([stream.entering_k, stream.leaving_k])
    h_u, h_d = np.split(fluid.h_liquid_j_kg(t, np.concatenate([p, p])), 2)
    h_o, h_o_sigma = _gas_enthalpy(stream, fluid)
    upstream = ratio_branch_upstream(h_u, h_d, h_o)
    downstream = ratio_branch_downstream(h_u, h_d, h_o)
    middle = np.where(branch > 0, upstream, downstream)
    middle = np.where(branch == 0, np.sqrt(np.abs(upstream * downstream)), middle)
    drop = stream.entering_k - stream.leaving_k
    with np.errstate(divide="ignore", invalid="ignore"):
        sides = np.where(branch == 0, (upstream / downstream - 1) / 4, 0.0)
        drop_error = stream.drop_sigma_k / drop
        gas_error = h_o_sigma / (h_o - h_u)
    sigma = np.sqrt(drop_error**2 + gas_error**2 + sides**2)
    subcooling = fluid.t_bubble_k(p) - stream.entering_k
    usable = (drop > 0) & (drop_error <= LARGEST_DROP_ERROR) & (downstream > 0)
    return _log(middle, sigma, usable & (subcooling >= LEAST_SUBCOOLING_K))


def _gas_enthalpy(stream: Stream, fluid: Fluid) -> tuple[FloatArray, FloatArray]:
    """Enthalpy of the leaving bypass gas [J/kg] and its standard uncertainty; NaN when wet.

    Without its temperature it lies between saturated vapour and gas as warm as the liquid.
    """
    p = stream.suction_pa
    dew = fluid.t_dew_k(p)
    measured = ~np.isnan(stream.gas_k)
    warmest = np.maximum(stream.entering_k, dew)
    gas = np.where(measured, stream.gas_k, (dew + warmest) / 2)
    spread_k = np.where(measured, GAS_SIGMA_K, (warmest - dew) / 4)
    h = fluid.h_vapour_j_kg(p, gas)
    wet = measured & (stream.gas_k - dew < LEAST_GAS_SUPERHEAT_K)
    with np.errstate(divide="ignore", invalid="ignore"):
        heat_j_kg_k = (h - fluid.h_dew_j_kg(p)) / (gas - dew)
    return np.where(wet, np.nan, h), heat_j_kg_k * spread_k


def _from_compressor(
    flow: compressor.CompressorFlow, ratio: Logarithm, branch: FloatArray, stream: Stream
) -> Logarithm:
    """Main stream of a pure mode.

    A bypass taken off after the subcooler has passed it with the rest: the main stream is the
    compressor's flow. One taken off before has not: the main stream is 1/(1 + ratio) of it.
    """
    # With no ratio from the balance an open valve may pass anything up to the largest bypass.
    unknown = np.isnan(ratio.value)
    largest = np.where(stream.opening <= valve.DEAD_BAND, 0.0, LARGEST_BYPASS_RATIO)
    taken = np.exp(np.where(unknown, -np.inf, ratio.value))
    lowest = 1.0 / (1.0 + np.where(unknown, largest, np.minimum(taken, LARGEST_BYPASS_RATIO)))
    highest = np.where(unknown, 1.0, lowest)
    least = np.where(branch < 0, 1.0, lowest)
    most = np.where(branch > 0, highest, 1.0)
    band = np.log(flow.high_kg_s / flow.low_kg_s) / 4
    sigma = np.hypot(band, np.log(most / least) / 4)
    return _log(flow.flow_kg_s * np.sqrt(least * most), sigma, flow.flow_kg_s > 0)


def _log(values: FloatArray, sigma: FloatArray, usable: BoolArray) -> Logarithm:
    usable = usable & ~np.isnan(sigma) & (values > 0)
    value = np.log(values, out=np.full(values.shape, np.nan), where=usable)
    return Logarithm(value, np.where(usable, sigma, np.nan))


def _minus(numerator: Logarithm, denominator: Logarithm) -> Logarithm:
    return Logarithm(
        numerator.value - denominator.value, np.hypot(numerator.sigma, denominator.sigma)
    )


def _where(mask: BoolArray, x: Logarithm) -> Logarithm:
    return Logarithm(np.where(mask, x.value, np.nan), np.where(mask, x.sigma, np.nan))
