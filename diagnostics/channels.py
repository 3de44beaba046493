"""The vocabulary of logged channels, as data.

Every channel has one unit inside (SI: K, Pa, rev/s, a fraction for openings) and one fixed-point
code for storage: ``value = offset + quantum * code`` with an int16 code, ``EMPTY`` for "no value".
The quantum is at least three times finer than the usual logger resolution of that quantity.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

EMPTY = np.int16(-32768)
"""Stored code of a missing value."""

MAX_INDOOR_UNITS = 64


class Quantity(StrEnum):
    """What a channel measures; the unit inside is in brackets."""

    SPEED = "speed"  # rev/s
    PRESSURE = "pressure"  # Pa, absolute
    TEMPERATURE = "temperature"  # K
    OPENING = "opening"  # fraction of full opening, 0..1
    FLAG = "flag"  # 0 or 1
    CHOICE = "choice"  # index into Channel.choices


@dataclass(frozen=True)
class Channel:
    """One logged quantity.

    ``low`` and ``high`` bound what is physically possible, in the unit inside; a cell outside
    them is left out of the samples. ``choices`` names the values of a CHOICE channel in order.
    """

    name: str
    quantity: Quantity
    low: float
    high: float
    quantum: float
    offset: float
    meaning: str
    choices: tuple[str, ...] = ()

    def encode(self, values: NDArray[np.float64]) -> NDArray[np.int16]:
        """Fixed-point codes of ``values`` [unit inside]; NaN becomes ``EMPTY``.

        The quotient is rounded to 1e-6 of a quantum first, so that two texts of one value in
        different units meet on the same code.
        """
        scaled = values - self.offset
        scaled /= self.quantum
        np.rint(np.round(scaled, 6, out=scaled), out=scaled)
        missing = np.isnan(scaled)
        if missing.any():
            scaled[missing] = EMPTY
        return scaled.astype(np.int16)

    def decode(self, codes: NDArray[np.int16]) -> NDArray[np.float64]:
        """Values [unit inside] of fixed-point codes; ``EMPTY`` becomes NaN."""
        values = self.offset + self.quantum * codes.astype(np.float64)
        values[codes == EMPTY] = np.nan
        return values


STATES = ("off", "cooling", "heating", "simultaneous", "defrost", "oil_return")
CALLS = ("off", "cool", "heat", "fan")


def _temperature(name: str, low_c: float, high_c: float, meaning: str) -> Channel:
    return Channel(
        name, Quantity.TEMPERATURE, low_c + 273.15, high_c + 273.15, 0.01, 273.15, meaning
    )


def _opening(name: str, meaning: str) -> Channel:
    return Channel(name, Quantity.OPENING, 0.0, 1.0, 1 / 24_000, 0.0, meaning)


def _travel(name: str, meaning: str) -> Channel:
    """An opening whose full travel no manifest gives: see ``diagnostics.units``."""
    return Channel(name, Quantity.OPENING, 0.0, 6.5, 1 / 4_800, 0.0, meaning)


def _pressure(name: str, high_pa: float, meaning: str) -> Channel:
    return Channel(name, Quantity.PRESSURE, 10e3, high_pa, 100.0, 3_200_000.0, meaning)


OUTDOOR: tuple[Channel, ...] = (
    Channel(
        "compressor_speed",
        Quantity.SPEED,
        0.0,
        250.0,
        0.01,
        0.0,
        "shaft speed of the running compressors (mean)",
    ),
    _pressure("discharge_pressure", 6.0e6, "discharge pressure at the outdoor unit"),
    _pressure("suction_pressure", 4.5e6, "suction pressure at the outdoor unit"),
    _temperature("discharge_temperature", -40, 180, "gas at the compressor's outlet"),
    _temperature("suction_temperature", -60, 90, "gas at the compressor's inlet"),
    _temperature(
        "liquid_temperature_outdoor_side",
        -50,
        100,
        "liquid line between the outdoor coil and the subcooler",
    ),
    _temperature(
        "liquid_temperature_indoor_side",
        -50,
        100,
        "liquid line between the subcooler and the pipes to the indoor units",
    ),
    _temperature("subcooler_gas_temperature", -60, 100, "bypass gas leaving the subcooler"),
    _opening("subcooler_valve", "opening of the subcooler's expansion valve"),
    _travel("outdoor_valve", "opening of the outdoor coil's expansion valve"),
    _temperature("outdoor_air_temperature", -50, 65, "outdoor air"),
    _temperature("outdoor_coil_temperature", -60, 90, "outdoor coil"),
    _temperature("evaporating_target", -40, 40, "evaporating temperature the controller aims at"),
    _temperature("condensing_target", 0, 80, "condensing temperature the controller aims at"),
    Channel(
        "reported_state",
        Quantity.CHOICE,
        0,
        len(STATES) - 1,
        1.0,
        0.0,
        "the unit's own word for what it does",
        STATES,
    ),
)

INDOOR: tuple[Channel, ...] = (
    Channel("demand", Quantity.FLAG, 0, 1, 1.0, 0.0, "1 while the room asks for capacity"),
    Channel("call", Quantity.CHOICE, 0, len(CALLS) - 1, 1.0, 0.0, "what the room asks for", CALLS),
    _temperature("room_temperature", -20, 60, "room air"),
    _temperature("setpoint", 0, 45, "room air wanted"),
    _travel("valve", "opening of the indoor expansion valve"),
    _temperature("liquid_pipe_temperature", -50, 100, "pipe on the liquid side of the indoor coil"),
    _temperature("gas_pipe_temperature", -50, 130, "pipe on the gas side of the indoor coil"),
)

OUTDOOR_BY_NAME = {channel.name: channel for channel in OUTDOOR}
INDOOR_BY_NAME = {channel.name: channel for channel in INDOOR}
