"""The subcooler's energy balance: quasi-steady means, and bypass over main stream.

A little liquid, expanded through the subcooler's valve, evaporates against the main stream. The
balance of the exchanger gives the ratio of the two streams and nothing else; kg/s needs a second
relation, see ``diagnostics.signals.liquid_flow``.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from diagnostics.plant import BranchSide, Plant
from diagnostics.refrigerant import Fluid
from diagnostics.samples import FloatArray, Samples
from diagnostics.signals import timebase as tb
from diagnostics.signals import valve
from diagnostics.signals.direction import Direction
from diagnostics.signals.quasisteady import MEAN_S, settled, stride
from diagnostics.signals.state import States
from diagnostics.signals.timebase import BoolArray, Timebase

LEAST_SUBCOOLING_K = 1.5
"""Below it liquid may flash ahead of the valve, and neither its equation nor the balance holds."""

LEAST_GAS_SUPERHEAT_K = 1.0
WET_SHARE = 0.25
WET_EXCESS = 0.1
WET_SIGMA = 0.15
"""A bypass gas within a thermistor's error of saturation for more than this share of time may be
just dry, as a controller likes it, or carry drops; then more bypass flows than saturated vapour
would give. Taken as a tenth more, give or take."""

LARGEST_DROP_ERROR = 0.35
"""Relative standard error of the temperature drop: two thermistors of 0.5 K at a drop of 2 K."""

THERMISTOR_SIGMA_K = 0.5
SMALLEST_DROP_SIGMA_K = 0.15
GAS_SIGMA_K = 1.5
"""Standard uncertainty of the bypass gas: thermistor, and warmth of the pipe it sits on."""


@dataclass(frozen=True)
class Stream:
    """The subcooler as quasi-steady means on every ``stride``-th sample, shape (m,); K and Pa.

    sign: +1 to_indoor, -1 to_outdoor, 0 not known. entering_k, leaving_k: main stream;
    drop_sigma_k: standard uncertainty of their difference. gas_k: bypass gas leaving, NaN where
    not logged; wet: it is at saturation now and then. line_pa: liquid pressure, line_sigma_pa its
    uncertainty. travel: throat of the valve over the full one. velocity_kg_s_m2: ideal mass
    velocity in it. All means are NaN where the circuit is not settled or the direction not known.
    """

    sign: FloatArray
    entering_k: FloatArray
    leaving_k: FloatArray
    drop_sigma_k: float
    gas_k: FloatArray
    wet: BoolArray
    line_pa: FloatArray
    line_sigma_pa: FloatArray
    suction_pa: FloatArray
    travel: FloatArray
    velocity_kg_s_m2: FloatArray
    full_area_m2: float

    @property
    def bypass_kg_s(self) -> FloatArray:
        """Bypass by the uncalibrated valve equation."""
        return valve.mass_flow_kg_s(self.travel * self.full_area_m2, self.velocity_kg_s_m2)


@dataclass(frozen=True)
class Logarithm:
    """Natural logarithm of a positive quantity and its standard uncertainty; NaN = not known."""

    value: FloatArray
    sigma: FloatArray

    def where(self, mask: BoolArray) -> Logarithm:
        """Known only in ``mask``."""
        return Logarithm(np.where(mask, self.value, np.nan), np.where(mask, self.sigma, np.nan))

    def minus(self, other: Logarithm) -> Logarithm:
        """Logarithm of the quotient; uncertainties independent."""
        return Logarithm(self.value - other.value, np.hypot(self.sigma, other.sigma))


def logarithm(values: FloatArray, sigma: FloatArray, usable: BoolArray) -> Logarithm:
    """Logarithm of ``values`` with relative uncertainty ``sigma``; NaN where not ``usable``."""
    usable = usable & ~np.isnan(sigma) & (values > 0)
    value = np.log(values, out=np.full(values.shape, np.nan), where=usable)
    return Logarithm(value, np.where(usable, sigma, np.nan))


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


def stream(
    samples: Samples, states: States, direction: Direction, fluid: Fluid, plant: Plant
) -> Stream:
    """Quasi-steady means that reach over no gap and no change of state or direction."""
    calm = settled(states)
    # The physics fixes the direction in a pure mode even where the thermistors are silent.
    sign = np.where(states.pure != 0, states.pure, direction.sign).astype(float)
    base = _pieces(tb.of(samples), sign, calm)
    rows = _rows(samples, sign, direction, fluid)
    rows[:, ~calm | (sign == 0)] = np.nan
    every = stride(base)
    low, high = base.window(MEAN_S / 2, MEAN_S / 2)
    means = tb.window_mean(rows, low[::every], high[::every])
    sign = sign[::every]
    entering, drop, discharge, suction, travel = means[:5]
    gas, wet = means[5:] if len(means) > 5 else np.full((2, entering.size), np.nan)
    discharge, suction = discharge * 1e5, suction * 1e5
    line, line_sigma = _line_pressure(entering, discharge, sign, fluid)
    rho = fluid.rho_liquid_kg_m3(entering, line)
    return Stream(
        sign=sign,
        entering_k=entering,
        leaving_k=entering - drop,
        drop_sigma_k=_drop_sigma_k(direction),
        gas_k=gas,
        wet=wet > WET_SHARE,
        line_pa=line,
        line_sigma_pa=line_sigma,
        suction_pa=suction,
        travel=travel,
        velocity_kg_s_m2=valve.mass_velocity_kg_s_m2(rho, line, suction),
        full_area_m2=valve.full_area_m2(plant),
    )


def _rows(samples: Samples, sign: FloatArray, direction: Direction, fluid: Fluid) -> FloatArray:
    """What is to be averaged; bar instead of Pa keeps the rows of one size for the running sums.

    The bypass gas and whether it is wet come last, where it is logged.
    """
    suction = samples.outdoor_or_nan("suction_pressure")
    rows = [
        np.where(
            sign > 0,
            samples.outdoor_or_nan("liquid_temperature_outdoor_side"),
            samples.outdoor_or_nan("liquid_temperature_indoor_side"),
        ),
        sign * direction.drop_k,
        samples.outdoor_or_nan("discharge_pressure") / 1e5,
        suction / 1e5,
        valve.area_m2(samples.outdoor_or_nan("subcooler_valve"), 1.0),
    ]
    gas = samples.outdoor.get("subcooler_gas_temperature")
    if gas is not None:
        superheat = gas - fluid.t_dew_k(suction)
        wet = np.where(np.isnan(superheat), np.nan, superheat < LEAST_GAS_SUPERHEAT_K)
        rows += [gas, wet]
    return np.stack(rows)


def _pieces(base: Timebase, sign: FloatArray, calm: BoolArray) -> Timebase:
    """The time base with a new segment wherever the direction or the state turns."""
    turn = np.zeros(sign.size, np.int32)
    turn[1:] = (np.diff(sign) != 0) | (calm[1:] != calm[:-1]) | (np.diff(base.segment) > 0)
    return replace(base, segment=np.cumsum(turn, dtype=np.int32), _windows={})


def _drop_sigma_k(direction: Direction) -> float:
    learned = direction.offset_sigma_k
    unlearned = THERMISTOR_SIGMA_K * np.sqrt(2.0)
    sigma = unlearned if np.isnan(learned) else min(learned, unlearned)
    return float(max(sigma, SMALLEST_DROP_SIGMA_K))


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


def branch(sign: FloatArray, plant: Plant) -> FloatArray:
    """1 where the bypass is taken off before the subcooler, -1 after it, 0 not known."""
    if plant.subcooler_branch_side is None:
        return np.zeros(sign.shape)
    first = 1.0 if plant.subcooler_branch_side is BranchSide.OUTDOOR else -1.0
    return np.where(sign == first, 1.0, -1.0)


def bypass_ratio(at: Stream, side: FloatArray, fluid: Fluid) -> Logarithm:
    """Bypass over main stream by the energy balance.

    side: as ``branch`` gives it. Where it is not known, the geometric mean of both sides with
    their distance as part of the uncertainty.
    """
    p = at.line_pa
    t = np.concatenate([at.entering_k, at.leaving_k])
    h_u, h_d = np.split(fluid.h_liquid_j_kg(t, np.concatenate([p, p])), 2)
    h_o, h_o_sigma = _gas_enthalpy(at, fluid)
    upstream = ratio_branch_upstream(h_u, h_d, h_o)
    downstream = ratio_branch_downstream(h_u, h_d, h_o)
    middle = np.where(side > 0, upstream, downstream)
    middle = np.where(side == 0, np.sqrt(np.abs(upstream * downstream)), middle)
    drop = at.entering_k - at.leaving_k
    with np.errstate(divide="ignore", invalid="ignore"):
        sides = np.where(side == 0, (upstream / downstream - 1) / 4, 0.0)
        drop_error = at.drop_sigma_k / drop
        gas_error = np.where(at.wet, WET_SIGMA, h_o_sigma / (h_o - h_u))
    sigma = np.sqrt(drop_error**2 + gas_error**2 + sides**2)
    subcooling = fluid.t_bubble_k(p) - at.entering_k
    usable = (drop > 0) & (drop_error <= LARGEST_DROP_ERROR) & (downstream > 0)
    usable &= subcooling >= LEAST_SUBCOOLING_K
    return logarithm(middle * np.exp(WET_EXCESS * at.wet), sigma, usable)


def _gas_enthalpy(at: Stream, fluid: Fluid) -> tuple[FloatArray, FloatArray]:
    """Enthalpy of the leaving bypass gas [J/kg] and its standard uncertainty.

    Without its temperature it lies between saturated vapour and gas as warm as the liquid. Wet gas
    is given as saturated vapour.
    """
    p = at.suction_pa
    dew = fluid.t_dew_k(p)
    measured = ~np.isnan(at.gas_k)
    warmest = np.maximum(at.entering_k, dew + 1.0)
    gas = np.where(measured, np.maximum(at.gas_k, dew + 0.1), (dew + warmest) / 2)
    spread_k = np.where(measured, GAS_SIGMA_K, (warmest - dew) / 4)
    h, h_dew = fluid.h_vapour_j_kg(p, gas), fluid.h_dew_j_kg(p)
    heat_j_kg_k = (h - h_dew) / (gas - dew)
    return np.where(at.wet, h_dew, h), heat_j_kg_k * spread_k


def bypass(at: Stream, plant: Plant) -> Logarithm:
    """Bypass by the uncalibrated valve equation, where the valve is open enough."""
    doubt = valve.curve_prior(plant)[:, None] * valve.curve_basis(at.travel)
    sigma = np.sqrt((doubt**2).sum(axis=0) + instant_sigma(at) ** 2)
    return logarithm(at.bypass_kg_s, sigma, at.bypass_kg_s > 0)


def instant_sigma(at: Stream) -> FloatArray:
    """Uncertainty of the valve equation that no calibration takes away: pressure and hysteresis."""
    pressure = at.line_sigma_pa / (2 * np.maximum(at.line_pa - at.suction_pa, 1.0))
    return np.asarray(np.hypot(pressure, valve.hysteresis_sigma(at.travel)))
