"""The charge worksheet against sums done by hand.

Densities: CoolProp 8 check values, R-410A saturated liquid at 40 °C 975.72 kg/m3, and 1011.71
kg/m3 at 35 °C and 2.6 MPa (7.89 K below its bubble point of 42.885 °C); R-32 at 40 °C 893.04.
"""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from diagnostics import charge_sheet
from diagnostics.charge_sheet import Entered, Line, LiquidState, Seen, Sheet
from diagnostics.expectation import Baseline
from diagnostics.plant import IndoorUnit, LiquidLine, Plant, Refrigerant
from tests.diagnostics import rows

SATURATED_40 = LiquidState(313.15, 0.0)
PLANT = replace(
    rows.plant(),
    rated_charge_kg=18.5,
    liquid_lines=(LiquidLine(0.0107, 50.0), LiquidLine(0.0079, 20.0)),
    indoor=(
        IndoorUnit("A-1", 14_000.0, "Hall", 300.0),
        IndoorUnit("A-2", 7_000.0, "Copy room", 30.0),
        IndoorUnit("A-3", 7_000.0, "Store"),
    ),
)
BASELINE = Baseline(np.array([5.0, 0.0, 0.0, 0.0]), np.zeros((4, 4)), 14, noise_k=0.7)
"""5 K whatever the weather; its standard uncertainty is that of a week's pool, 0.7 / sqrt(3) K."""
SIGMA_K = 0.7 / 3**0.5
NOTHING = Entered()


def made(
    plant: Plant = PLANT, entered: Entered = NOTHING, leading: str = "normal", **features: float
) -> Sheet:
    """The sheet of a day of like windows."""
    seen = Seen(rows.windows(96, **features), BASELINE, leading)
    return charge_sheet.sheet(plant, SATURATED_40, entered, seen)


def line(sheet: Sheet, title: str) -> Line:
    """The only line whose title starts so."""
    (found,) = [line for line in sheet.lines if line.title.startswith(title)]
    return found


@pytest.mark.parametrize(
    ("refrigerant", "state", "density"),
    [
        (Refrigerant.R410A, SATURATED_40, 975.72),
        (Refrigerant.R410A, LiquidState(316.035, 7.885), 1011.71),
        (Refrigerant.R32, SATURATED_40, 893.04),
        (Refrigerant.R454B, SATURATED_40, 916.80),
    ],
)
def test_liquid_has_the_published_density(
    refrigerant: Refrigerant, state: LiquidState, density: float
) -> None:
    found = charge_sheet.liquid_density_kg_m3(refrigerant, state)
    assert found == pytest.approx(density, rel=5e-4)


def test_runs_hold_section_times_length_times_density() -> None:
    """By hand: 89.920 mm2 * 50 m = 4.4960 l, 49.017 mm2 * 20 m = 0.98033 l, at 0.97572 kg/l."""
    sheet = made()
    assert line(sheet, "Liquid in the run of 10.70").value == pytest.approx(4.3868, rel=5e-4)
    assert line(sheet, "Liquid in the run of 7.90").value == pytest.approx(0.9565, rel=5e-4)
    assert line(sheet, "Liquid in all").value == pytest.approx(5.3434, rel=5e-4)
    assert "condensing at 40 °C, subcooled by 0 K" in line(sheet, "Density").note
    rated = line(sheet, "Rated charge")
    assert rated.value == 18.5
    assert "hold 29% of it; 13.2 kg are left" in rated.note


def test_expected_charge_is_the_factory_charge_entered_and_the_lines() -> None:
    sheet = made(entered=Entered(factory_charge_kg=12.0))
    assert line(sheet, "Expected charge").value == pytest.approx(17.3434, rel=5e-4)
    assert not [line for line in made().lines if line.title.startswith("Expected")]


def test_a_weighed_charge_is_compared_with_the_rated_one() -> None:
    weighed = line(made(entered=Entered(weighed_kg=20.35)), "Charge recovered")
    assert weighed.note == "+10.0% against the rated charge"


def test_lines_that_hold_more_than_the_rated_charge_are_called_a_contradiction() -> None:
    sheet = made(replace(PLANT, rated_charge_kg=5.0))
    assert "check diameters, lengths and charge" in line(sheet, "Rated charge").note


def test_no_share_of_lines_is_stated_where_no_lines_are_known() -> None:
    sheet = made(replace(PLANT, liquid_lines=()))
    assert "names no liquid lines" in line(sheet, "Rated charge").note
    assert "%" not in line(sheet, "Rated charge").note


def test_a_high_subcooling_gives_a_range_in_per_cent() -> None:
    """5 K above: 5 -/+ 2 * 0.4041 K; 4.1917 / 0.5 and 5.8083 / 0.1 per cent."""
    change = made(subcooling_to_indoor_k=10.0).departure
    assert change is not None
    assert change.told
    assert change.residual_k == pytest.approx(5.0)
    assert change.low_percent == pytest.approx((5.0 - 2 * SIGMA_K) / 0.5)
    assert change.high_percent == pytest.approx((5.0 + 2 * SIGMA_K) / 0.1)


def test_a_change_within_its_interval_is_no_change() -> None:
    sheet = made(subcooling_to_indoor_k=5.5)
    assert sheet.departure is not None
    assert sheet.departure.low_percent < 0.0 < sheet.departure.high_percent
    assert "no change of the charge can be told" in line(sheet, "Charge against").note


def test_saturated_liquid_leaves_the_shortage_open() -> None:
    sheet = made(subcooling_to_indoor_k=0.2)
    assert sheet.departure is not None
    assert sheet.departure.high_percent == pytest.approx((-4.8 + 2 * SIGMA_K) / 0.5)
    assert "the shortage may be larger" in line(sheet, "Charge against").note


@given(st.floats(-20.0, 20.0), st.floats(0.0, 3.0))
def test_the_range_is_ordered_and_holds_the_middle_sensitivity(
    residual: float, doubt: float
) -> None:
    baseline = Baseline(np.array([5.0, 0.0, 0.0, 0.0]), np.diag([doubt**2, 0.0, 0.0, 0.0]), 14, 0.7)
    day = rows.windows(4, subcooling_to_indoor_k=5.0 + residual, to_indoor_s=900.0)
    change = charge_sheet.departure(day, baseline)
    assert change is not None
    assert change.low_percent <= change.high_percent
    assert change.low_percent <= max(residual / 0.3, -100.0) <= change.high_percent + 1e-9


@pytest.mark.parametrize("leading", ["sensor_fault", "flow_restriction", "not_enough_data"])
def test_another_suspicion_is_settled_before_any_charge_is_estimated(leading: str) -> None:
    sheet = made(leading=leading, subcooling_to_indoor_k=10.0)
    assert sheet.departure is None
    estimate = line(sheet, "Charge against")
    assert (estimate.low, estimate.high) == (None, None)
    assert "must be settled first" in estimate.note


def test_without_a_past_of_its_own_nothing_is_estimated() -> None:
    seen = Seen(rows.windows(96, subcooling_to_indoor_k=12.0), None, "overcharge")
    sheet = charge_sheet.sheet(PLANT, SATURATED_40, Entered(), seen)
    assert sheet.departure is None
    assert "no past of its own" in line(sheet, "Charge against").note


def test_little_steady_operation_gives_no_estimate() -> None:
    sheet = made(to_indoor_s=10.0, subcooling_to_indoor_k=12.0)
    assert sheet.departure is None
    assert "less than half an hour" in line(sheet, "Charge against").note


def test_subcooling_that_was_not_measured_gives_no_estimate() -> None:
    assert made(subcooling_to_indoor_k=np.nan).departure is None


def test_where_every_room_is_known_none_is_said_to_be_left_out() -> None:
    room = line(made(replace(PLANT, indoor=PLANT.indoor[:2])), "Whole charge in the smallest room")
    assert room.value == pytest.approx(18.5 / 30.0)
    assert room.note == "rated charge over Copy room, 30 m3"


def test_the_smallest_room_is_held_against_the_limit_entered() -> None:
    """18.5 kg in 30 m3 is 0.6167 kg/m3."""
    sheet = made(entered=Entered(limit_kg_m3=0.44, limit_edition="EN 378-1:2016"))
    room = line(sheet, "Whole charge in the smallest room")
    assert room.value == pytest.approx(18.5 / 30.0)
    assert "Copy room, 30 m3; 1 indoor unit(s) without a room volume" in room.note
    limit = line(sheet, "Limit")
    assert limit.source.endswith("EN 378-1:2016")
    assert limit.note.startswith("140% of the limit, above it")
    assert "local code and a competent person decide" in limit.note


def test_no_limit_is_built_in() -> None:
    limit = line(made(), "Limit")
    assert limit.value is None
    assert "none is built in" in limit.note


def test_a_limit_without_its_edition_is_refused() -> None:
    with pytest.raises(ValueError, match="enter the standard and edition"):
        Entered(limit_kg_m3=0.3, limit_edition=" ")


@pytest.mark.parametrize("value", [0.0, -1.0, float("nan"), float("inf")])
def test_numbers_that_cannot_be_are_refused_by_name(value: float) -> None:
    with pytest.raises(ValueError, match="weighed_kg must be a positive number"):
        Entered(weighed_kg=value)


def test_a_state_without_liquid_is_refused() -> None:
    said = (
        r"R-32 is no liquid .* condensing at 130\.0 °C with 5\.0 K .*: enter a state the lines can"
    )
    with pytest.raises(ValueError, match=said):
        charge_sheet.liquid_density_kg_m3(Refrigerant.R32, LiquidState(403.15, 5.0))
    with pytest.raises(ValueError, match=r"-2\.0 K of subcooling"):
        charge_sheet.liquid_density_kg_m3(Refrigerant.R32, LiquidState(313.15, -2.0))


@pytest.mark.parametrize(
    ("refrigerant", "charge_kg", "tonnes"),
    [
        (Refrigerant.R410A, 23.946, 50.0),
        (Refrigerant.R32, 74.074, 50.0),
        (Refrigerant.R454B, 107.527, 50.0),
    ],
)
def test_co2_equivalent(refrigerant: Refrigerant, charge_kg: float, tonnes: float) -> None:
    """Charges of 50 t, as thresholds of the EU regulation come to: 23.9, 74.1 and 108 kg."""
    plant = replace(PLANT, refrigerant=refrigerant, rated_charge_kg=charge_kg)
    assert line(made(plant), "CO2").value == pytest.approx(tonnes, rel=1e-4)


def test_a_bare_manifest_gives_a_sheet_that_says_what_is_missing() -> None:
    sheet = charge_sheet.sheet(rows.plant(), LiquidState(), Entered())
    silent = {line.title: line.note for line in sheet.lines if line.value is None}
    assert silent["Liquid in the lines"] == "the manifest names no liquid lines"
    assert silent["Rated charge"] == "the manifest does not give it"
    assert silent["Whole charge in the smallest room"].endswith("gives no charge")
    assert silent["CO2 equivalent of the charge"] == "the manifest gives no charge"


def test_no_line_orders_refrigerant_to_be_added_or_removed() -> None:
    sheets = [made(subcooling_to_indoor_k=k, leading="overcharge") for k in (0.0, 5.0, 15.0)]
    words = " ".join(
        text
        for sheet in sheets
        for text in (
            *sheet.steps,
            sheet.caution,
            *(f"{row.title} {row.note}" for row in sheet.lines),
        )
    )
    assert not re.search(r"\b(add|remove|charge up|top up|drain|vent|release)\b", words, re.I)
    assert "recover, weigh, compare" in words


def test_where_no_state_is_entered_liquid_is_taken_at_a_warm_day_s() -> None:
    """Condensing at 45 degC with 15 K, so at 30 degC, and named in the sheet."""
    note = line(charge_sheet.sheet(PLANT, LiquidState(), NOTHING), "Density").note
    assert "R-410A, condensing at 45 °C, subcooled by 15 K: state taken, not measured" in note


@pytest.mark.parametrize(
    ("subcooling_k", "saturated_share", "open_below"),
    [(0.95, 0.0, True), (1.05, 0.0, False), (2.0, 0.19, False), (2.0, 0.21, True)],
)
def test_a_shortage_is_open_below_a_kelvin_or_where_a_fifth_of_the_time_is_saturated(
    subcooling_k: float, saturated_share: float, open_below: bool
) -> None:
    """Common practice, no source: flash gas begins about there."""
    change = made(subcooling_to_indoor_k=subcooling_k, saturated_share=saturated_share).departure
    assert change is not None
    assert change.open_below is open_below


@pytest.mark.parametrize(("seconds", "told"), [(1799.0, False), (1800.0, True)])
def test_half_an_hour_is_the_least(seconds: float, told: bool) -> None:
    day = rows.windows(1, to_indoor_s=seconds)
    assert (charge_sheet.departure(day, BASELINE) is not None) == told


def test_no_charge_is_more_than_all_short() -> None:
    """20 K at a tenth of a kelvin per per cent would be 200 % below."""
    change = made(subcooling_to_indoor_k=-15.0).departure
    assert change is not None
    assert (change.low_percent, change.high_percent) == pytest.approx(
        (-100.0, (-20.0 + 2 * SIGMA_K) / 0.5)
    )
    none = made(subcooling_to_indoor_k=-60.0).departure
    assert none is not None
    assert (none.low_percent, none.high_percent) == (-100.0, -100.0)


@pytest.mark.parametrize(
    ("residual_k", "told"), [(0.80, False), (0.82, True), (-0.80, False), (-0.82, True)]
)
def test_a_change_is_told_beyond_two_standard_uncertainties(residual_k: float, told: bool) -> None:
    """Twice 0.4041 K is 0.808 K."""
    change = made(subcooling_to_indoor_k=5.0 + residual_k).departure
    assert change is not None
    assert change.told is told


@pytest.mark.parametrize(
    ("limit", "said"),
    [(18.5 / 30.0, "100% of the limit, not above it"), (0.6, "103% of the limit, above it")],
)
def test_what_equals_the_limit_is_not_above_it(limit: float, said: str) -> None:
    sheet = made(entered=Entered(limit_kg_m3=limit, limit_edition="2020"))
    assert line(sheet, "Limit").note.startswith(said)


def test_a_weighed_charge_counts_before_the_rated_one() -> None:
    sheet = made(entered=Entered(weighed_kg=15.0))
    room = line(sheet, "Whole charge in the smallest room")
    assert room.value == pytest.approx(0.5)
    assert room.note.startswith("charge weighed over Copy room")
    assert line(sheet, "CO2").value == pytest.approx(15.0 * 2.088)
    unrated = made(replace(PLANT, rated_charge_kg=None), Entered(weighed_kg=15.0))
    assert line(unrated, "Charge recovered").note == "no rated charge to compare it with"


def test_no_charge_is_expected_of_lines_that_are_not_known() -> None:
    sheet = made(replace(PLANT, liquid_lines=()), Entered(factory_charge_kg=12.0))
    assert not [each for each in sheet.lines if each.title.startswith("Expected")]


def test_a_system_not_seen_yet_has_no_past() -> None:
    sheet = charge_sheet.sheet(PLANT, SATURATED_40, NOTHING)
    assert sheet.departure is None
    assert "no past of its own" in line(sheet, "Charge against").note
    assert charge_sheet.departure(rows.windows(0), BASELINE) is None


@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_the_near_end_of_a_range_goes_by_the_strong_sensitivity(sign: float) -> None:
    """1.2 K off is 0.39 to 2.01 K: 0.39 / 0.5 and 2.01 / 0.1 per cent, to either side."""
    change = made(subcooling_to_indoor_k=5.0 + sign * 1.2).departure
    assert change is not None
    near, far = (1.2 - 2 * SIGMA_K) / 0.5, (1.2 + 2 * SIGMA_K) / 0.1
    ends = (change.low_percent, change.high_percent)
    assert ends == pytest.approx((near, far) if sign > 0 else (-far, -near))
