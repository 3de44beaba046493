"""How much liquid runs through the main passage of the subcooler.

Two relations. The subcooler's energy balance gives the ratio of bypass to main stream, and the
valve equation the bypass itself. The compressor's flow gives the main stream where all of it passes
the subcooler, in pure cooling and pure heating. Where both hold they are combined by inverse
variance of their logarithms. In simultaneous operation the main stream is only the imbalance of the
rooms, and only the balance holds; there the valve is first calibrated against the compressor's flow
in the pure modes of the same span, as far as these reach.

Bounds are 95 %.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from diagnostics.plant import Plant
from diagnostics.refrigerant import Fluid
from diagnostics.samples import FloatArray, Samples
from diagnostics.signals import compressor, subcooler, valve
from diagnostics.signals import timebase as tb
from diagnostics.signals.direction import Direction
from diagnostics.signals.quasisteady import spread, stride
from diagnostics.signals.state import States
from diagnostics.signals.subcooler import Logarithm, Stream, instant_sigma
from diagnostics.signals.timebase import BoolArray

LARGEST_BYPASS_RATIO = 0.35
"""A subcooler's bypass does not take more of the main stream; common practice, no source."""

HOT_GAS_SPEED_SHARE = 0.25
HOT_GAS_SIGMA = 0.15
"""At a quarter of its maximum speed and below a compressor may send part of its flow back to the
suction as hot gas, and nothing logged says so; common practice, no source."""

INDEPENDENT_S = 1800.0
COMMON_SIGMA = 0.08
"""What half hours have in common (efficiency of the compressor, thermistors) and never averages
out."""


LARGEST_SIGMA = 0.35
"""Standard uncertainty of the logarithm above which a flow is not quantified: a factor of two
either way at 95 %."""

COVERAGE = 2.0
"""Coverage factor of the bounds, about 95 % (JCGM 100:2008, 6.3.3)."""


@dataclass(frozen=True)
class LiquidFlow:
    """Mass flows [kg/s], each shape (n,); NaN where they cannot be told.

    main, low, high: stream through the main passage of the subcooler and its 95 % bounds. Where
    ``quantified`` is False, main is NaN and the bounds say what is known nevertheless: a stream
    cannot exceed the compressor's flow. bypass: by the valve equation. balance: main stream by
    valve equation (not calibrated) and energy balance alone, independent of the compressor.
    compressor, compressor_low, compressor_high: flow of all compressors. bypass_ratio: bypass over
    main stream by the energy balance alone.
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


def combine(first: Logarithm, second: Logarithm) -> Logarithm:
    """Mean weighted by inverse variance; one alone where the other is not known.

    Two that disagree by more than their uncertainties widen the result by their Birge ratio
    (Birge, Physical Review 40:207-227, 1932), so a wrong valve or transducer shows as a wide band.
    """
    w1, w2 = (np.where(np.isnan(x.value), 0.0, 1.0 / x.sigma**2) for x in (first, second))
    total = w1 + w2
    empty = np.full(total.shape, np.nan)
    a, b = np.nan_to_num(first.value), np.nan_to_num(second.value)
    mean = np.divide(w1 * a + w2 * b, total, out=empty.copy(), where=total > 0)
    both = (w1 > 0) & (w2 > 0)
    chi_square = np.divide(w1 * w2 * (a - b) ** 2, total, out=np.ones_like(total), where=both)
    variance = np.divide(np.maximum(chi_square, 1.0), total, out=empty, where=total > 0)
    return Logarithm(mean, np.sqrt(variance))


def estimate(
    samples: Samples, states: States, direction: Direction, fluid: Fluid, plant: Plant
) -> LiquidFlow:
    """Main stream with bounds at every sample, from cleaned samples."""
    base = tb.of(samples)
    every = stride(base)
    flow = _compressor(samples, states, fluid, plant)
    at = subcooler.stream(samples, states, direction, fluid, plant)
    side = subcooler.branch(at.sign, plant)
    ratio = subcooler.bypass_ratio(at, side, fluid)
    balance = subcooler.bypass(at, plant).minus(ratio)
    pure = states.pure[::every] != 0
    whole = _from_compressor(flow, ratio, side, at, every).where(pure)
    whole = _with_hot_gas(whole, samples.outdoor_or_nan("compressor_speed")[::every], plant)
    calibrated = _calibrated_bypass(at, ratio, whole, plant, every * base.interval_s)
    calibrated = calibrated.minus(ratio)
    main = combine(Logarithm(*_pick(pure, balance, calibrated)), whole)

    def full(values: FloatArray) -> FloatArray:
        return spread(values, every, len(samples))

    middle, low, high = _limited(
        full(np.where(main.sigma <= LARGEST_SIGMA, np.exp(main.value), np.nan)),
        full(np.exp(main.value - COVERAGE * main.sigma)),
        full(np.exp(main.value + COVERAGE * main.sigma)),
        flow.high_kg_s,
    )
    return LiquidFlow(
        main_kg_s=middle,
        low_kg_s=low,
        high_kg_s=high,
        bypass_kg_s=full(at.bypass_kg_s),
        balance_kg_s=full(np.exp(balance.value)),
        compressor_kg_s=flow.flow_kg_s,
        compressor_low_kg_s=flow.low_kg_s,
        compressor_high_kg_s=flow.high_kg_s,
        bypass_ratio=full(np.exp(ratio.value)),
        quantified=~np.isnan(middle),
    )


def _pick(mask: BoolArray, there: Logarithm, elsewhere: Logarithm) -> tuple[FloatArray, FloatArray]:
    return (
        np.where(mask, there.value, elsewhere.value),
        np.where(mask, there.sigma, elsewhere.sigma),
    )


def _compressor(
    samples: Samples, states: States, fluid: Fluid, plant: Plant
) -> compressor.CompressorFlow:
    gas = compressor.SuctionGas(
        np.where(states.running, samples.outdoor_or_nan("compressor_speed"), np.nan),
        samples.outdoor_or_nan("suction_pressure"),
        samples.outdoor_or_nan("discharge_pressure"),
        samples.outdoor_or_nan("suction_temperature"),
    )
    return compressor.estimate(plant.compressor_displacement_m3, gas, fluid)


def _from_compressor(
    flow: compressor.CompressorFlow, ratio: Logarithm, side: FloatArray, at: Stream, every: int
) -> Logarithm:
    """Main stream of a pure mode.

    A bypass taken off after the subcooler has passed it with the rest: the main stream is the
    compressor's flow. One taken off before has not: the main stream is 1/(1 + ratio) of it.
    """
    total, low, high = (x[::every] for x in (flow.flow_kg_s, flow.low_kg_s, flow.high_kg_s))
    # With no ratio from the balance an open valve may pass anything up to the largest bypass.
    unknown = np.isnan(ratio.value)
    largest = np.where(at.travel <= 0.0, 0.0, LARGEST_BYPASS_RATIO)
    taken = np.exp(np.where(unknown, -np.inf, ratio.value))
    lowest = 1.0 / (1.0 + np.where(unknown, largest, np.minimum(taken, LARGEST_BYPASS_RATIO)))
    highest = np.where(unknown, 1.0, lowest)
    least = np.where(side < 0, 1.0, lowest)
    most = np.where(side > 0, highest, 1.0)
    sigma = np.hypot(np.log(high / low) / 4, np.log(most / least) / 4)
    settled_here = (total > 0) & ~np.isnan(at.suction_pa)
    return subcooler.logarithm(total * np.sqrt(least * most), sigma, settled_here)


def _with_hot_gas(whole: Logarithm, speed_rps: FloatArray, plant: Plant) -> Logarithm:
    """The main stream of a pure mode with the doubt about hot gas at low speed added."""
    slow = speed_rps <= HOT_GAS_SPEED_SHARE * plant.compressor_max_speed_rps
    return Logarithm(whole.value, np.hypot(whole.sigma, np.where(slow, HOT_GAS_SIGMA, 0.0)))


def _calibrated_bypass(
    at: Stream, ratio: Logarithm, whole: Logarithm, plant: Plant, spacing_s: float
) -> Logarithm:
    """Bypass by the valve equation with size, power and start of its curve learned in pure modes.

    Where the compressor gives the main stream and the balance the ratio, their product is the
    bypass; its logarithm less that of the uncalibrated one is linear in the three. Bayesian
    regression about the uncalibrated curve, so openings never seen keep their doubt.
    """
    plain = subcooler.bypass(at, plant)
    basis = valve.curve_basis(at.travel)
    departure = whole.value + ratio.value - plain.value
    use = ~np.isnan(departure)
    sigma = np.hypot(np.hypot(whole.sigma, ratio.sigma), instant_sigma(at))[use]
    weight = min(spacing_s / INDEPENDENT_S, 1.0) / sigma**2
    weighted = basis[:, use] * weight
    prior = np.diag(valve.curve_prior(plant) ** -2.0)
    covariance = np.linalg.inv(weighted @ basis[:, use].T + prior)
    curve = covariance @ (weighted @ departure[use])
    variance = ((covariance @ basis) * basis).sum(axis=0)
    sigma = np.sqrt(variance + instant_sigma(at) ** 2 + COMMON_SIGMA**2)
    return Logarithm(plain.value + curve @ basis, np.where(np.isnan(plain.value), np.nan, sigma))


def _limited(
    middle: FloatArray, low: FloatArray, high: FloatArray, most: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Middle, low and high [kg/s] below the most the compressor can move; 0 to that if unknown."""
    nothing = np.where(np.isnan(most), np.nan, 0.0)
    return (
        np.where(np.isnan(middle), np.nan, np.fmin(middle, most)),
        np.where(np.isnan(low), nothing, np.fmin(low, most)),
        np.where(np.isnan(high), most, np.fmin(high, most)),
    )
