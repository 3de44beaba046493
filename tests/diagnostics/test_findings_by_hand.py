"""What each finding reads of a row, and what it holds it against.

Expected discharge superheats are computed here with CoolProp from the cycle that their source
names; all other numbers are sums of the row's own.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from CoolProp.CoolProp import PropsSI
from scipy.optimize import brentq

from diagnostics import pooling
from diagnostics.expectation import Baseline
from diagnostics.findings import REGISTRY, Context, Measured
from diagnostics.findings.discharge_superheat import expected_k
from diagnostics.plant import Refrigerant
from diagnostics.refrigerant_tables import NAMES
from tests.diagnostics.rows import plant, windows

FINDINGS = {finding.name: finding for finding in REGISTRY}
CONTEXT = Context(plant())


def measured(name: str, context: Context = CONTEXT, **features: float) -> Measured:
    return FINDINGS[name].measure(windows(1, **features), context)


def _cycle(
    refrigerant: Refrigerant, evaporating_c: float, superheat_k: float
) -> tuple[float, float]:
    """Pressure ratio and discharge superheat, condensing at 45 degC (dew), efficiency 0.70."""
    fluid, condensing_k = NAMES[refrigerant], 318.15
    low, high = (
        PropsSI("P", "T", t, "Q", 1, fluid) for t in (evaporating_c + 273.15, condensing_k)
    )
    suction = evaporating_c + 273.15 + superheat_k
    h, s = (PropsSI(name, "T", suction, "P", low, fluid) for name in "HS")

    def solved(name: str, value: float) -> float:
        return float(
            brentq(
                lambda t: PropsSI(name, "T", t, "P", high, fluid) - value,
                condensing_k + 0.1,
                condensing_k + 150.0,
            )
        )

    ideal = PropsSI("H", "T", solved("S", s), "P", high, fluid)
    return high / low, solved("H", h + (ideal - h) / 0.70) - condensing_k


@pytest.mark.parametrize("refrigerant", list(Refrigerant))
@pytest.mark.parametrize("evaporating_c", [7.0, -10.0])
def test_expected_discharge_superheat_is_that_of_the_cycle(
    refrigerant: Refrigerant, evaporating_c: float
) -> None:
    """To less than the 7 % that it is doubted by."""
    ratio, superheat_k = _cycle(refrigerant, evaporating_c, 5.0)
    found = expected_k(refrigerant, np.array([ratio]))[0]
    assert found == pytest.approx(superheat_k, rel=0.05)


@pytest.mark.parametrize("refrigerant", [Refrigerant.R410A, Refrigerant.R32])
def test_a_kelvin_more_at_the_inlet_is_a_little_more_at_the_outlet(
    refrigerant: Refrigerant,
) -> None:
    (_, dry), (_, usual) = (_cycle(refrigerant, 7.0, k) for k in (10.0, 5.0))
    context = Context(replace(plant(), refrigerant=refrigerant))
    more, same = (
        measured("superheats_agree", context, suction_superheat_k=k).expected[0]
        for k in (10.0, 5.0)
    )
    assert more - same == pytest.approx(dry - usual, abs=0.6)


@pytest.mark.parametrize(("excess", "doubt"), [(0.0, 2.1), (20.0, 4.2)])
def test_the_doubt_of_a_discharge_superheat_is_seven_per_cent_of_it(
    excess: float, doubt: float
) -> None:
    """R-410A at 2.75: 30 K, and 17 K more for every 2.05 of the ratio."""
    found = measured("discharge_superheat", pressure_ratio=2.75 + 2.05 * (excess * 1.5) / 17.0)
    assert found.expected[0] == pytest.approx(30.0 + 1.5 * excess)
    assert found.sigma[0] == pytest.approx(doubt)
    assert measured("discharge_superheat", pressure_ratio=1.5).sigma[0] == 2.0
    assert measured("superheats_agree", pressure_ratio=1.5).sigma[0] == 1.5


READS = {
    "above_saturation": ("above_saturation_k", "to_indoor_s", 1.0),
    "condensing_against_coil": ("condensing_over_coil_k", "cooling_s", 1.0),
    "direction_contradicted": ("contradiction", "pure_s", 1.0),
    "discharge_superheat": ("discharge_superheat_k", "loaded_s", 1.0),
    "discharge_thermistor": ("discharge_below_k", "steady_s", 1.0),
    "evaporating_against_pipe": ("evaporating_under_pipe_k", "cooling_s", 1.0),
    "frozen_reading": ("frozen_share", "running_s", 1.0),
    "heating_subcooling": ("subcooling_to_outdoor_k", "to_outdoor_s", 1.0),
    "hunting_under_demand": ("hunting_high_demand", "hunting_demand_s", 1.0),
    "indoor_side_follows_air": ("indoor_side_tracks_air", "tracking_s", 1.0),
    "indoor_valves_open": ("indoor_valve_share", "high_demand_s", 1.0),
    "line_flow": ("flow_log_ratio", "flow_s", 1.0),
    "low_speed_rooms_short": ("speed_short", "short_s", 1.0),
    "outdoor_side_follows_air": ("outdoor_side_tracks_air", "tracking_s", 1.0),
    "resting_indoor_side": ("resting_indoor_side_k", "resting_s", 1.0),
    "resting_outdoor_side": ("resting_outdoor_side_k", "resting_s", 1.0),
    "resting_suction": ("resting_suction_k", "resting_s", 1.0),
    "restless_valve": ("restlessness", "restless_s", 1.0),
    "saturated_liquid": ("saturated_share", "to_indoor_s", 1.0),
    "standstill_discharge": ("standstill_discharge_k", "standstill_s", 1.0),
    "standstill_pressures": ("standstill_difference_pa", "standstill_s", 1e-3),
    "standstill_suction": ("standstill_suction_k", "standstill_s", 1.0),
    "subcooler_effect_closed": ("drop_closed_k", "closed_s", 1.0),
    "suction_superheat": ("suction_superheat_k", "loaded_s", 1.0),
    "superheats_agree": ("discharge_superheat_k", "loaded_s", 1.0),
    "thermistor_offset": ("offset_k", "running_s", 1.0),
    "upstream_subcooling": ("subcooling_to_indoor_k", "to_indoor_s", 1.0),
}
"""Feature, the seconds behind it, and the factor from the row's unit to the finding's."""


@pytest.mark.parametrize("name", READS)
def test_a_finding_reads_its_own_feature_and_the_seconds_behind_it(name: str) -> None:
    feature, behind, factor = READS[name]
    found = measured(name, **{feature: 0.25, behind: 345.0})
    assert found.value[0] == pytest.approx(0.25 * factor)
    assert found.resting_s[0] == 345.0
    assert found.sigma[0] > 0.0
    silent = measured(name, **{feature: np.nan, behind: np.nan})
    assert np.isnan(silent.value[0])
    assert silent.resting_s[0] == 0.0


@pytest.mark.parametrize(
    ("name", "feature", "given", "said"),
    [
        ("above_saturation", "above_saturation_k", -4.0, 0.0),
        ("discharge_thermistor", "discharge_below_k", -30.0, 0.0),
        ("evaporating_target", "evaporating_error_k", 3.0, 0.0),
        ("evaporating_target", "evaporating_error_k", -3.0, -3.0),
        ("indoor_valves_open", "indoor_valve_share", 1.4, 1.0),
    ],
)
def test_what_is_possible_or_better_than_asked_counts_as_nothing(
    name: str, feature: str, given: float, said: float
) -> None:
    assert measured(name, **{feature: given}).value[0] == said


IMPOSSIBLE_OR_AT_REST = (
    "above_saturation",
    "direction_contradicted",
    "discharge_thermistor",
    "evaporating_target",
    "frozen_reading",
    "hunting_under_demand",
    "indoor_side_follows_air",
    "line_flow",
    "outdoor_side_follows_air",
    "resting_indoor_side",
    "resting_outdoor_side",
    "resting_suction",
    "saturated_liquid",
    "standstill_discharge",
    "standstill_pressures",
    "standstill_suction",
    "subcooler_effect_closed",
    "subcooler_effect_open",
    "thermistor_offset",
)


@pytest.mark.parametrize("name", IMPOSSIBLE_OR_AT_REST)
def test_nothing_is_expected_where_a_sound_system_shows_nothing(name: str) -> None:
    assert measured(name).expected.tolist() == [0.0]


@pytest.mark.parametrize(
    ("drop", "expected", "ratio"), [(14.0, 14.0, 1.0), (0.0, 14.0, 1 / 15), (-0.5, 9.0, 0.1)]
)
def test_the_effect_of_an_open_valve_is_a_ratio_with_a_kelvin_added_to_both(
    drop: float, expected: float, ratio: float
) -> None:
    found = measured("subcooler_effect_open", drop_open_k=drop, expected_drop_k=expected)
    assert np.exp(found.value[0]) == pytest.approx(ratio)
    assert found.sigma[0] == pytest.approx(0.15 + 1.0 / (expected + 1.0))


def test_a_drop_against_the_way_of_the_liquid_is_no_effect_of_the_valve() -> None:
    found = measured("subcooler_effect_open", drop_open_k=-1.5, expected_drop_k=9.0)
    assert np.isnan(found.value[0])


@pytest.mark.parametrize(("leak_sigma_k", "sigma"), [(0.4, 0.5), (np.nan, np.hypot(0.5, 0.3))])
def test_a_leak_is_as_sure_as_its_own_doubt_and_the_thermistors(
    leak_sigma_k: float, sigma: float
) -> None:
    found = measured("subcooler_effect_closed", drop_closed_k=3.0, leak_sigma_k=leak_sigma_k)
    assert found.sigma[0] == pytest.approx(sigma)


@pytest.mark.parametrize(
    ("name", "feature", "unknown"),
    [
        ("upstream_subcooling", "sigma_to_indoor_k", 1.0),
        ("heating_subcooling", "sigma_to_outdoor_k", 1.0),
        ("thermistor_offset", "offset_sigma_k", 0.7),
    ],
)
def test_a_finding_is_as_sure_as_its_row_says(name: str, feature: str, unknown: float) -> None:
    assert measured(name, **{feature: 0.42}).sigma[0] == 0.42
    assert measured(name, **{feature: np.nan}).sigma[0] == unknown


def test_a_change_is_told_against_the_system_s_own_past_only() -> None:
    past = Baseline(np.array([7.0, 0.0, 0.0, 0.0]), np.zeros((4, 4)), 14, noise_k=0.6)
    found = measured("subcooling_change", Context(plant(), past), subcooling_to_indoor_k=9.0)
    assert found.deviation[0] == pytest.approx(2.0)
    assert found.sigma[0] == pytest.approx(0.6 / np.sqrt(3.0))
    assert found.resting_s[0] == 800.0
    silent = measured("subcooling_change")
    assert np.isnan(silent.deviation[0])
    assert silent.resting_s[0] == 0.0


def test_more_subcooling_is_usual_under_load_and_with_some_units_heating() -> None:
    """5 K at half load; 3.4 K more from no load to full, 3 K more for always both."""
    usual = measured("upstream_subcooling", load_to_indoor=0.5).expected[0]
    assert usual == pytest.approx(5.0)
    loaded = measured("upstream_subcooling", load_to_indoor=1.0).expected[0]
    assert loaded - usual == pytest.approx(1.7)
    both = measured("upstream_subcooling", simultaneous_s=450.0).expected[0]
    assert both - usual == pytest.approx(1.5)
    heating = [measured("heating_subcooling", simultaneous_s=s).expected[0] for s in (0.0, 900.0)]
    assert heating == pytest.approx([9.1, 12.1])


def test_a_pooled_row_says_what_its_windows_say() -> None:
    one = measured("discharge_superheat", discharge_superheat_k=40.0)
    many = FINDINGS["discharge_superheat"].measure(
        pooling.pool(windows(96, discharge_superheat_k=40.0)), CONTEXT
    )
    assert many.deviation[0] == pytest.approx(one.deviation[0])
    assert many.resting_s[0] == pytest.approx(96 * one.resting_s[0])


# Sensors that agree with a pure mode may do so by any odds.
@pytest.mark.parametrize(
    "name", sorted(set(FINDINGS) - {"subcooling_change", "direction_contradicted"})
)
def test_a_healthy_row_is_within_a_standard_uncertainty_of_what_is_expected(name: str) -> None:
    found = measured(name)
    if np.isfinite(found.deviation[0]):
        assert abs(found.deviation[0]) <= found.sigma[0]


MACHINE = {"discharge_superheat", "superheats_agree"}
"""Doubted by what compressors differ, not by what instruments err."""
SUREST_AND_LEAST = {"K": (0.29, 1.2), "share": (0.005, 0.2), "ratio": (0.1, 0.5)}


@pytest.mark.parametrize("name", sorted(set(FINDINGS) - MACHINE))
def test_a_finding_is_as_sure_as_instruments_are(name: str) -> None:
    """A thermistor of 0.5 K is sure to 0.29 K (rectangular) at best; with a transducer of 1 % (0.7
    K) and a poor contact it is within 1.2 K. Of a share a fifth is as good as not known. Gauges of
    0.5 to 1 % of 4.15 and 1.7 MPa differ by 13 to 26 kPa, as roots of sums of squares over 3."""
    finding = FINDINGS[name]
    sigma = measured(name, expected_drop_k=9.0, drop_open_k=9.0).sigma[0]
    if finding.unit == "kPa":
        assert 13.0 < sigma < 26.0
    elif finding.unit in SUREST_AND_LEAST and name != "subcooling_change":
        low, high = SUREST_AND_LEAST[finding.unit]
        assert low < sigma < high


def test_pipes_lose_pressure_on_the_way_to_the_transducers() -> None:
    """Gas from the coldest unit loses 10 to 50 kPa before the suction transducer, which at 0.8 MPa
    of R-410A is 0.4 to 2 K (10 kPa are 0.39 K): saturation there is below the pipe. Discharge gas
    loses as much before the coil's middle, at 0.17 K for 10 kPa, and the liquid there is cooled."""
    evaporating = measured("evaporating_against_pipe").expected[0]
    assert -2.0 < evaporating < -0.4
    condensing = measured("condensing_against_coil").expected[0]
    assert 0.2 < condensing < 5.0
