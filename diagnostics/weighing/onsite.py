"""What a technician can measure on site with instruments of their own, least effort first.

How each reading would come out under each hypothesis is taken from weights.toml: a quantity taken
again with own instruments comes out as its finding would, but not under the wrong readings that
own instruments do not share; a logged reading held against an own instrument is off by what the
finding it spoils is off by. Only what no finding measures has numbers of its own here.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field


@dataclass(frozen=True)
class Off:
    """By how much a reading is off: as far as ``finding`` is under the hypothesis, to ``sign``."""

    finding: str
    sign: float = 1.0


@dataclass(frozen=True)
class Own:
    """Mean, spread and share of a reading that no finding measures, under one hypothesis."""

    mean: float
    spread: float
    share: float
    reason: str


@dataclass(frozen=True)
class Reading:
    """One measurement on site.

    do: what to do; reads: what the number is, in ``unit`` (``share`` and ``ratio`` are printed in
    per cent); sigma: its standard uncertainty with clamp thermometers and gauges of the trade
    (common practice, no source). finding: the quantity taken again. blind: hypotheses of a wrong
    logged reading that it does not share. off: of a logged reading, by hypothesis. own: numbers of
    its own.
    """

    do: str
    reads: str
    unit: str
    sigma: float
    finding: str = ""
    blind: tuple[str, ...] = ()
    off: Mapping[str, Off] = field(default_factory=dict)
    own: Mapping[str, Own] = field(default_factory=dict)


_DISCHARGE = ("discharge_pressure_reads_high", "discharge_pressure_reads_low")
_SUCTION = ("suction_pressure_reads_high", "suction_pressure_reads_low")
_OUTDOOR_SIDE = ("outdoor_side_thermistor_reads_high", "outdoor_side_thermistor_reads_low")
_INDOOR_SIDE = ("indoor_side_thermistor_reads_high", "indoor_side_thermistor_reads_low")
_SUCTION_AND_INDOOR_SIDE = "suction_and_indoor_side_swapped"
_SUCTION_AND_OUTDOOR_SIDE = "suction_and_outdoor_side_swapped"
_SUCTION_PIPE = (
    _SUCTION_AND_INDOOR_SIDE,
    _SUCTION_AND_OUTDOOR_SIDE,
    "suction_thermistor_off_pipe",
    "suction_thermistor_reads_high",
    "suction_thermistor_reads_low",
)
_DISCHARGE_PIPE = (
    "discharge_thermistor_off_pipe",
    "discharge_thermistor_reads_high",
    "discharge_thermistor_reads_low",
)
_LIQUID = (
    "liquid_thermistors_swapped",
    "outdoor_side_thermistor_off_pipe",
    "indoor_side_thermistor_off_pipe",
    "outdoor_side_thermistor_misplaced",
    "indoor_side_thermistor_misplaced",
    _SUCTION_AND_INDOOR_SIDE,
    _SUCTION_AND_OUTDOOR_SIDE,
    *_OUTDOOR_SIDE,
    *_INDOOR_SIDE,
)
_FROZEN = ("frozen_reading",)

READINGS: tuple[Reading, ...] = (
    Reading(
        do="Compare the logged discharge pressure with a calibrated gauge at the service port",
        reads="logged minus gauge",
        unit="kPa",
        sigma=15.0,
        off={
            _DISCHARGE[0]: Off("standstill_pressures"),
            _DISCHARGE[1]: Off("standstill_pressures", -1.0),
        },
    ),
    Reading(
        do="Compare the logged suction pressure with a calibrated gauge at the service port",
        reads="logged minus gauge",
        unit="kPa",
        sigma=10.0,
        off={
            _SUCTION[0]: Off("standstill_pressures"),
            _SUCTION[1]: Off("standstill_pressures", -1.0),
        },
    ),
    Reading(
        do="Clamp a thermometer beside the outdoor-side liquid thermistor in steady operation",
        reads="logged minus clamp",
        unit="K",
        sigma=0.7,
        off={
            "outdoor_side_thermistor_off_pipe": Off("upstream_subcooling", -1.0),
            "outdoor_side_thermistor_misplaced": Off("upstream_subcooling", -1.0),
            "liquid_thermistors_swapped": Off("upstream_subcooling", -1.0),
            _SUCTION_AND_OUTDOOR_SIDE: Off("upstream_subcooling", -1.0),
            _OUTDOOR_SIDE[0]: Off("thermistor_offset"),
            _OUTDOOR_SIDE[1]: Off("thermistor_offset", -1.0),
        },
    ),
    Reading(
        do="Clamp a thermometer beside the indoor-side liquid thermistor in steady operation",
        reads="logged minus clamp",
        unit="K",
        sigma=0.7,
        off={
            "indoor_side_thermistor_off_pipe": Off("subcooler_effect_closed", -1.0),
            "indoor_side_thermistor_misplaced": Off("subcooler_effect_closed", -1.0),
            "liquid_thermistors_swapped": Off("upstream_subcooling"),
            _SUCTION_AND_INDOOR_SIDE: Off("subcooler_effect_closed", -1.0),
            _INDOOR_SIDE[0]: Off("thermistor_offset"),
            _INDOOR_SIDE[1]: Off("thermistor_offset", -1.0),
        },
    ),
    Reading(
        do="Clamp a thermometer beside the discharge thermistor, minding the hot pipe",
        reads="logged minus clamp",
        unit="K",
        sigma=2.0,
        off={
            "discharge_thermistor_off_pipe": Off("discharge_superheat", -1.0),
            "discharge_thermistor_reads_high": Off("discharge_superheat"),
            "discharge_thermistor_reads_low": Off("discharge_superheat", -1.0),
        },
    ),
    Reading(
        do="Clamp a thermometer beside the suction thermistor in steady operation",
        reads="logged minus clamp",
        unit="K",
        sigma=0.7,
        off={
            "suction_thermistor_off_pipe": Off("suction_superheat"),
            _SUCTION_AND_INDOOR_SIDE: Off("suction_superheat"),
            _SUCTION_AND_OUTDOOR_SIDE: Off("suction_superheat"),
            "suction_thermistor_reads_high": Off("suction_superheat"),
            "suction_thermistor_reads_low": Off("suction_superheat", -1.0),
        },
    ),
    Reading(
        do="Read the openings of the asking indoor units' valves at full demand",
        reads="their mean opening",
        unit="share",
        sigma=0.05,
        finding="indoor_valves_open",
    ),
    Reading(
        do="Watch the subcooler's valve for ten minutes at high demand",
        reads="share of the time it hunts",
        unit="share",
        sigma=0.15,
        finding="hunting_under_demand",
    ),
    Reading(
        do="Have the subcooler's valve commanded closed, with clamps on the liquid line on both of "
        "its sides",
        reads="cooling that is left",
        unit="K",
        sigma=0.5,
        finding="subcooler_effect_closed",
        blind=(*_LIQUID, *_FROZEN),
    ),
    Reading(
        do="Have the subcooler's valve commanded open, with clamps on the liquid line on both of "
        "its sides",
        reads="cooling, of what the opening should give",
        unit="ratio",
        sigma=0.2,
        finding="subcooler_effect_open",
        blind=(*_LIQUID, *_FROZEN),
    ),
    Reading(
        do="Take the subcooling in steady cooling with an own gauge and a clamp on the liquid line "
        "between outdoor coil and subcooler",
        reads="subcooling",
        unit="K",
        sigma=0.7,
        finding="upstream_subcooling",
        blind=(*_DISCHARGE, *_LIQUID, *_FROZEN),
    ),
    Reading(
        do="Take the subcooling in steady heating with an own gauge and a clamp on the liquid line "
        "between subcooler and building",
        reads="subcooling",
        unit="K",
        sigma=0.7,
        finding="heating_subcooling",
        blind=(*_DISCHARGE, *_LIQUID, *_FROZEN),
    ),
    Reading(
        do="Take the suction superheat in steady cooling with an own gauge and clamp at the "
        "compressor's inlet",
        reads="superheat",
        unit="K",
        sigma=1.0,
        finding="suction_superheat",
        blind=(*_SUCTION, *_SUCTION_PIPE, *_FROZEN),
    ),
    Reading(
        do="Take the discharge superheat in steady cooling with an own gauge and clamp",
        reads="superheat",
        unit="K",
        sigma=2.0,
        finding="discharge_superheat",
        blind=(*_DISCHARGE, *_SUCTION, *_DISCHARGE_PIPE, *_FROZEN),
    ),
    Reading(
        do="Hold the evaporating temperature by an own gauge against its target at full demand",
        reads="evaporating temperature minus target",
        unit="K",
        sigma=0.7,
        finding="evaporating_target",
        blind=(*_SUCTION, *_FROZEN),
    ),
    Reading(
        do="Clamp the liquid line before and after each strainer, drier, service valve and branch "
        "box at high load",
        reads="largest temperature step",
        unit="K",
        sigma=0.4,
        own={
            "normal": Own(0.0, 0.3, 1.0, "a free line keeps its temperature"),
            "flow_restriction": Own(3.0, 2.0, 0.6, "it shows only where the liquid flashes"),
        },
    ),
)
