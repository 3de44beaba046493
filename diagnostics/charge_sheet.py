"""The charge worksheet: what can be said of the amount of refrigerant without weighing it.

Every line names its value, unit, source and what to make of it. The sheet never says to add or to
take out refrigerant: the only reading of a charge is to recover it, weigh it and compare.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from math import pi

import numpy as np

from diagnostics import pooling
from diagnostics.expectation import Baseline
from diagnostics.plant import LiquidLine, Plant, Refrigerant
from diagnostics.refrigerant import fluid
from diagnostics.windows import Windows

GWP = {Refrigerant.R410A: 2088.0, Refrigerant.R32: 675.0, Refrigerant.R454B: 465.0}
"""Global warming potential over 100 years, kg of CO2 per kg: IPCC fourth assessment report, as in
the table of the United States Environmental Protection Agency."""

SENSITIVITY_K_PER_PERCENT = (0.1, 0.5)
"""Upstream subcooling per per cent of the charge: common practice, no source. Kept wide, because an
accumulator or receiver hides part of a change, and the condenser's size sets the rest."""

COVERAGE_FACTOR = 2.0
"""Standard uncertainties either side of an interval, about 95 % (JCGM 100:2008, 6.2)."""

FLOOR_K = 1.0
"""Upstream subcooling below which liquid leaves at saturation: the reading is then a lower bound
of the shortage (common practice, no source)."""

LEAST_S = 1800.0
"""Seconds of steady operation, liquid to the indoor units, without which nothing is estimated."""

_LARGEST_SATURATED_SHARE = 0.2
_ABOUT_CHARGE = ("normal", "overcharge", "undercharge")

MANIFEST = "manifest"
ENTERED = "entered on this sheet"
COMMON_PRACTICE = "common practice, no source"

STEPS = (
    "Recover the whole charge with the standing rules for this refrigerant.",
    "Weigh what was recovered.",
    "Compare it with the rated charge and write both into the record.",
)
CAUTION = (
    "Numbers from logged data are a suspicion, not a measurement of the charge and not an order. "
    "Local code and a licensed person on site decide; observe pressure, electrical, height, cold "
    "and fire hazards of this equipment."
)


@dataclass(frozen=True)
class LiquidState:
    """The liquid in the lines: condensing (bubble) temperature [K] and its subcooling [K]."""

    condensing_k: float = 318.15
    subcooling_k: float = 15.0


@dataclass(frozen=True)
class Entered:
    """What a person adds to the manifest; None where nothing was entered.

    factory_charge_kg: charge before any line allowance. weighed_kg: recovered and weighed.
    limit_kg_m3: the largest permitted charge per room volume with the standard and edition it was
    read from: published values differ between standards and their editions, so none is built in.
    """

    factory_charge_kg: float | None = None
    weighed_kg: float | None = None
    limit_kg_m3: float | None = None
    limit_edition: str = ""

    def __post_init__(self) -> None:
        """Raises ValueError for numbers that cannot be, and for a limit without its edition."""
        for name in ("factory_charge_kg", "weighed_kg", "limit_kg_m3"):
            value = getattr(self, name)
            if value is not None and not 0.0 < value < np.inf:
                raise ValueError(f"{name} must be a positive number, found {value}: correct it")
        if self.limit_kg_m3 is not None and not self.limit_edition.strip():
            raise ValueError(
                "limit_kg_m3 stands without its edition: enter the standard and edition it was "
                "read from, values differ between them"
            )


@dataclass(frozen=True)
class Seen:
    """What the data showed: the rows of the days judged, what was usual before, the verdict.

    baseline: None where the system has no past of its own. leading: the leading condition.
    """

    rows: Windows
    baseline: Baseline | None
    leading: str


@dataclass(frozen=True)
class Departure:
    """How far the charge seems to be from its usual amount, as a range.

    residual_k: upstream subcooling less the baseline's [K], with ``low_k`` and ``high_k`` of its
    95 % interval. low_percent, high_percent: of the charge, negative is too little.
    open_below: liquid left at saturation, so that the shortage may be larger than the range says.
    """

    residual_k: float
    low_k: float
    high_k: float
    low_percent: float
    high_percent: float
    open_below: bool

    @property
    def told(self) -> bool:
        """Whether the interval leaves no change out."""
        return self.low_k > 0.0 or self.high_k < 0.0


@dataclass(frozen=True)
class Line:
    """One line of the sheet. ``value`` or the range ``low`` to ``high``, in ``unit``; all None
    where it cannot be told, and ``note`` says why."""

    title: str
    unit: str
    source: str
    note: str
    value: float | None = None
    low: float | None = None
    high: float | None = None


@dataclass(frozen=True)
class Sheet:
    """The worksheet of one system, ready for a page."""

    lines: tuple[Line, ...]
    departure: Departure | None
    steps: tuple[str, ...] = STEPS
    caution: str = CAUTION


def sheet(plant: Plant, state: LiquidState, entered: Entered, seen: Seen | None = None) -> Sheet:
    """The charge worksheet. Raises ValueError for a ``state`` outside the refrigerant's table."""
    change = None
    if seen is not None and seen.leading in _ABOUT_CHARGE and seen.baseline is not None:
        change = departure(seen.rows, seen.baseline)
    return Sheet(
        (
            *_line_content(plant, state),
            *_charge(plant, state, entered),
            _departure_line(seen, change),
            *_concentration(plant, entered),
            _co2(plant, entered),
        ),
        change,
    )


def liquid_density_kg_m3(refrigerant: Refrigerant, state: LiquidState) -> float:
    """Density of the liquid in the lines [kg/m3]. Raises ValueError outside the table."""
    properties = fluid(refrigerant)
    pressure_pa = properties.p_bubble_pa(state.condensing_k)
    density = float(
        properties.rho_liquid_kg_m3(state.condensing_k - state.subcooling_k, pressure_pa)[0]
    )
    if state.subcooling_k < 0.0 or not np.isfinite(density):
        raise ValueError(
            f"{refrigerant} is no liquid of known density condensing at "
            f"{state.condensing_k - 273.15:.1f} °C with {state.subcooling_k:.1f} K of subcooling: "
            "enter a state the lines can have"
        )
    return density


def content_kg(line: LiquidLine, density_kg_m3: float) -> float:
    """Liquid in one run of line [kg]: a full cylinder."""
    return pi / 4.0 * line.inside_diameter_m**2 * line.length_m * density_kg_m3


def departure(rows: Windows, baseline: Baseline) -> Departure | None:
    """Over- or undercharge from the change of upstream subcooling against the system's own past.

    rows: windows of the days judged. None with less than half an hour of steady operation. The
    sensors are those the baseline was learned with, so that only their change would mislead.
    """
    row = pooling.pool(rows)
    if not len(row) or not row.column("to_indoor_s")[0] >= LEAST_S:
        return None
    observed_k = float(row.column("subcooling_to_indoor_k")[0])
    expected_k, sigma_k = (float(array[0]) for array in baseline.predict(row))
    residual = observed_k - expected_k
    if not np.isfinite(residual):
        return None
    low, high = residual - COVERAGE_FACTOR * sigma_k, residual + COVERAGE_FACTOR * sigma_k
    weak, strong = SENSITIVITY_K_PER_PERCENT
    saturated = float(np.nan_to_num(row.column("saturated_share"))[0])
    return Departure(
        residual_k=residual,
        low_k=low,
        high_k=high,
        low_percent=max(low / (strong if low > 0.0 else weak), -100.0),
        high_percent=max(high / (weak if high > 0.0 else strong), -100.0),
        open_below=observed_k < FLOOR_K or saturated > _LARGEST_SATURATED_SHARE,
    )


def smallest_room(plant: Plant) -> tuple[str, float] | None:
    """Name and volume [m3] of the smallest room with an indoor unit; None where none is known.

    Units that name the same room are in one room; where their volumes differ the smaller counts.
    """
    known = [
        (unit.room or unit.code, unit.room_volume_m3)
        for unit in plant.indoor
        if unit.room_volume_m3 is not None
    ]
    return min(known, key=lambda room: room[1]) if known else None


def _line_content(plant: Plant, state: LiquidState) -> Iterator[Line]:
    density = liquid_density_kg_m3(plant.refrigerant, state)
    yield Line(
        "Density of the liquid in the lines",
        "kg/m3",
        "tables of the reference equation of state",
        f"{plant.refrigerant}, condensing at {state.condensing_k - 273.15:.0f} °C, subcooled by "
        f"{state.subcooling_k:.0f} K: state taken, not measured",
        density,
    )
    if not plant.liquid_lines:
        yield Line("Liquid in the lines", "kg", MANIFEST, "the manifest names no liquid lines")
        return
    for line in plant.liquid_lines:
        size = f"{line.inside_diameter_m * 1e3:.2f} mm inside, {line.length_m:.1f} m"
        yield Line(
            f"Liquid in the run of {size}",
            "kg",
            MANIFEST,
            "full of liquid: inside section times length times density",
            content_kg(line, density),
        )
    yield Line(
        "Liquid in all lines",
        "kg",
        MANIFEST,
        "sum of the runs; gas lines and coils are not in it",
        _all_lines_kg(plant, density),
    )


def _all_lines_kg(plant: Plant, density_kg_m3: float) -> float:
    return sum(content_kg(line, density_kg_m3) for line in plant.liquid_lines)


def _charge(plant: Plant, state: LiquidState, entered: Entered) -> Iterator[Line]:
    lines_kg = _all_lines_kg(plant, liquid_density_kg_m3(plant.refrigerant, state))
    rated = plant.rated_charge_kg
    if entered.factory_charge_kg is not None and plant.liquid_lines:
        yield Line(
            "Expected charge",
            "kg",
            ENTERED,
            "factory charge plus liquid in the lines; the producer's line allowance may differ",
            entered.factory_charge_kg + lines_kg,
        )
    if rated is None:
        yield Line("Rated charge", "kg", MANIFEST, "the manifest does not give it")
    else:
        yield Line(
            "Rated charge",
            "kg",
            MANIFEST,
            _share_of_lines(lines_kg, rated) if plant.liquid_lines else WITHOUT_LINES,
            rated,
        )
    if entered.weighed_kg is not None:
        yield Line(
            "Charge recovered and weighed",
            "kg",
            ENTERED,
            f"{entered.weighed_kg / rated - 1.0:+.1%} against the rated charge"
            if rated
            else "no rated charge to compare it with",
            entered.weighed_kg,
        )


WITHOUT_LINES = "the manifest names no liquid lines to hold it against"


def _share_of_lines(lines_kg: float, rated_kg: float) -> str:
    if lines_kg >= rated_kg:
        return "less than the lines alone would hold: check diameters, lengths and charge"
    share, rest = lines_kg / rated_kg, rated_kg - lines_kg
    return f"the liquid lines hold {share:.0%} of it; {rest:.1f} kg are left for the rest"


def _departure_line(seen: Seen | None, change: Departure | None) -> Line:
    weak, strong = SENSITIVITY_K_PER_PERCENT
    title, unit = "Charge against the system's own usual charge", "%"
    source = (
        f"change of upstream subcooling, {weak:g} to {strong:g} K per per cent: {COMMON_PRACTICE}"
    )
    if change is None:
        return Line(title, unit, source, _why_not(seen))
    span = f"upstream subcooling {change.residual_k:+.1f} K ({change.low_k:+.1f} to "
    span += f"{change.high_k:+.1f} K) against the system's own past"
    if not change.told:
        note = f"{span}: no change of the charge can be told"
    elif change.open_below:
        note = f"{span}; liquid leaves at saturation, so that the shortage may be larger"
    else:
        note = f"{span}; what a receiver or accumulator hides is not in it: recover, weigh, compare"
    return Line(title, unit, source, note, None, change.low_percent, change.high_percent)


def _why_not(seen: Seen | None) -> str:
    if seen is None or seen.baseline is None:
        return "not estimated: the system has no past of its own that was judged normal"
    if seen.leading not in _ABOUT_CHARGE:
        return "not estimated: the data speak of another condition, which must be settled first"
    return "not estimated: less than half an hour of steady operation with liquid to the indoor"


def _held(plant: Plant, entered: Entered) -> tuple[float | None, str]:
    """The charge in the system [kg] and where it is known from."""
    if entered.weighed_kg is not None:
        return entered.weighed_kg, "charge weighed"
    return plant.rated_charge_kg, "rated charge"


def _concentration(plant: Plant, entered: Entered) -> Iterator[Line]:
    charge, known_from = _held(plant, entered)
    room = smallest_room(plant)
    title, unit = "Whole charge in the smallest room", "kg/m3"
    if charge is None or room is None:
        lacking = "charge" if charge is None else "room volume"
        yield Line(title, unit, MANIFEST, f"not checked: the manifest gives no {lacking}")
        return
    name, volume = room
    missing = sum(unit.room_volume_m3 is None for unit in plant.indoor)
    note = f"{known_from} over {name}, {volume:.0f} m3"
    if missing:
        note += f"; {missing} indoor unit(s) without a room volume were left out"
    yield Line(title, unit, MANIFEST, note, charge / volume)
    yield _limit(charge / volume, entered)


def _limit(concentration_kg_m3: float, entered: Entered) -> Line:
    title, unit = "Limit for an occupied room", "kg/m3"
    if entered.limit_kg_m3 is None:
        note = "enter the value and edition of the standard that holds here (ASHRAE 34 with 15, or "
        note += "EN 378): published values differ, none is built in"
        return Line(title, unit, ENTERED, note)
    share = concentration_kg_m3 / entered.limit_kg_m3
    verdict = "above it: connected spaces, ventilation or detection may be needed"
    note = f"{share:.0%} of the limit, {verdict if share > 1.0 else 'not above it'}; "
    note += "local code and a competent person decide"
    source = f"{ENTERED}: {entered.limit_edition.strip()}"
    return Line(title, unit, source, note, entered.limit_kg_m3)


def _co2(plant: Plant, entered: Entered) -> Line:
    charge, known_from = _held(plant, entered)
    gwp = GWP[plant.refrigerant]
    title, unit = "CO2 equivalent of the charge", "t"
    source = "IPCC fourth assessment report, 100 years, as in the table of the US EPA"
    note = f"{known_from} times a global warming potential of {gwp:.0f}; other editions differ"
    if charge is None:
        return Line(title, unit, source, "the manifest gives no charge")
    return Line(title, unit, source, note, charge * gwp / 1000.0)
