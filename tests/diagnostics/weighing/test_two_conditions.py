"""Two conditions at once are named only where one does not explain what was seen."""

from __future__ import annotations

from dataclasses import replace
from itertools import combinations

import numpy as np
import pytest

from diagnostics import findings, pooling
from diagnostics.findings import Context, Finding, Measured
from diagnostics.samples import FloatArray
from diagnostics.weighing import pairs, weigh
from diagnostics.weighing.ledger import WORDS
from diagnostics.weighing.weigh import CONDITIONS
from diagnostics.windows import Windows
from tests.diagnostics.rows import plant, windows

CONTEXT = Context(plant())
OVERCHARGE = {
    "subcooling_to_indoor_k": 13.0,
    "suction_superheat_k": 1.0,
    "discharge_superheat_k": 16.0,
}
UNDERCHARGE = {
    "subcooling_to_indoor_k": -0.1,
    "saturated_share": 0.8,
    "suction_superheat_k": 14.0,
    "discharge_superheat_k": 50.0,
}
RESTRICTION = {
    "subcooling_to_indoor_k": 8.0,
    "suction_superheat_k": 7.0,
    "discharge_superheat_k": 33.0,
    "evaporating_error_k": -2.0,
    "high_demand_s": 400.0,
    "indoor_valve_share": 0.8,
}
OPPOSITES = ("overcharge", "undercharge")
LEAKING_VALVE = {"closed_s": 500.0, "drop_closed_k": 9.0, "leak_sigma_k": 0.3}
TRANSDUCER = {
    "standstill_s": 500.0,
    "standstill_difference_pa": 150e3,
    "standstill_discharge_k": 6.0,
}
SHORT_VALVES = {"high_demand_s": 400.0, "indoor_valve_share": 0.55}


def measured(**features: float) -> tuple[Measured, ...]:
    """What a week of like windows shows, as one row."""
    return weigh.measure(pooling.pool(windows(672, **features)), CONTEXT)


def two(**features: float) -> pairs.Pair | None:
    """The answer for such a week."""
    return pairs.two_at_once(measured(**features), weigh.table())


@pytest.mark.parametrize(
    "features",
    [{}, OVERCHARGE, UNDERCHARGE, RESTRICTION, LEAKING_VALVE, TRANSDUCER],
    ids=["healthy", "overcharge", "undercharge", "restriction", "valve", "sensor"],
)
def test_one_condition_is_not_called_two(features: dict[str, float]) -> None:
    assert two(**features) is None
    best = pairs.compare(measured(**features), weigh.table())[0]
    assert best.advantage < pairs.CLEARLY / 2


def test_undercharge_behind_a_transducer_that_reads_high() -> None:
    """The offset hides part of the low subcooling and of the high discharge superheat."""
    masked = {
        "subcooling_to_indoor_k": 4.0,
        "suction_superheat_k": 14.0,
        "discharge_superheat_k": 40.0,
        "evaporating_error_k": -4.5,
        "condensing_over_coil_k": 9.5,
        "standstill_s": 500.0,
        "standstill_difference_pa": 210e3,
        "standstill_discharge_k": 6.8,
    }
    found = two(**masked, **SHORT_VALVES)
    assert found is not None
    assert {found.first, found.second} == {"undercharge", "sensor_fault"}
    assert set(found.first_findings) <= {
        "upstream_subcooling",
        "suction_superheat",
        "saturated_liquid",
        "evaporating_target",
        "indoor_valves_open",
    }
    assert set(found.second_findings) <= {
        "standstill_pressures",
        "standstill_discharge",
        "condensing_against_coil",
    }
    assert "too little refrigerant (" in found.sentence
    assert "outdoor air at standstill" in found.sentence


def test_undercharge_with_a_leaking_subcooler_valve() -> None:
    passes_more = {"flow_s": 500.0, "flow_log_ratio": -1.4}
    signs = UNDERCHARGE | LEAKING_VALVE | SHORT_VALVES | passes_more
    found = pairs.compare(measured(**signs), weigh.table())[0]
    assert found.advantage > 1.0
    assert (found.first, found.second) == ("undercharge", "subcooler_valve_fault")
    assert set(found.second_findings) == {"subcooler_effect_closed", "line_flow"}


def test_a_weak_second_sign_is_not_enough() -> None:
    assert two(**OVERCHARGE, closed_s=500.0, drop_closed_k=1.2, leak_sigma_k=0.8) is None


def test_no_data_name_no_pair() -> None:
    nothing = dict.fromkeys(("to_indoor_s", "loaded_s", "cooling_s", "running_s"), 0.0)
    assert two(**nothing) is None


def test_a_condition_that_moves_nothing_leaves_the_other_as_it_is() -> None:
    """Only the standstill findings speak: the other half of the pair adds little but its prior."""
    silent = dict.fromkeys(("to_indoor_s", "loaded_s", "cooling_s", "running_s", "steady_s"), 0.0)
    weights = weigh.table()
    found = pairs.compare(measured(**silent, **TRANSDUCER), weights)
    made = {(p.first, p.second): p for p in found}
    both = made["undercharge", "sensor_fault"]
    assert both.instead == "sensor_fault"
    ways = weights.prior[weights.condition == CONDITIONS.index("undercharge")]
    prior = np.logaddexp.reduce(ways) - weights.prior[0]
    assert both.advantage == pytest.approx(prior, abs=0.4)


def _drawn(rng: np.random.Generator, names: tuple[str, ...]) -> dict[str, float]:
    """Deviations of systems with the conditions ``names``, drawn from the table itself.

    Each finding was measured in 7 of 10; shifts and added variances add up.
    """
    weights, drawn = weigh.table(), {}
    odds = np.exp(weights.prior)
    of = [np.flatnonzero(weights.condition == CONDITIONS.index(name)) for name in names]
    ways = [rng.choice(places, p=odds[places] / odds[places].sum()) for places in of]
    for name, entry in weights.likelihoods.items():
        value = rng.normal(entry.mean[0], entry.spread[0])
        for place in ways:
            if rng.random() < entry.share[place]:
                more = max(entry.spread[place] ** 2 - entry.spread[0] ** 2, 0.0)
                value += rng.normal(entry.mean[place] - entry.mean[0], more**0.5)
        drawn[name] = value if rng.random() < 0.7 else np.nan
    return drawn


def _stub(finding: Finding, deviation: float) -> Finding:
    def measure(rows: Windows, _: Context) -> Measured:
        def full(value: float) -> FloatArray:
            return np.full(len(rows), value)

        return Measured(full(deviation), full(0.0), full(0.01), full(72_000.0))

    return replace(finding, measure=measure)


def _called(
    monkeypatch: pytest.MonkeyPatch, rng: np.random.Generator, names: tuple[str, ...]
) -> pairs.Pair | None:
    deviations = _drawn(rng, names)
    registry = tuple(_stub(finding, deviations[finding.name]) for finding in findings.REGISTRY)
    monkeypatch.setattr(weigh, "REGISTRY", registry)
    monkeypatch.setattr(pairs, "REGISTRY", registry)
    return pairs.two_at_once(weigh.measure(windows(1), CONTEXT), weigh.table())


def test_single_conditions_drawn_from_the_table_are_seldom_called_two(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    rng = np.random.default_rng(20)
    singles = [(name,) for name in CONDITIONS[1:]] + [()]
    called = sum(_called(monkeypatch, rng, singles[i % 6]) is not None for i in range(240))
    assert called <= 240 * 0.02


def test_pairs_drawn_from_the_table_are_often_found_and_rarely_misnamed(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    rng = np.random.default_rng(21)
    true = [names for names in combinations(CONDITIONS[1:], 2) if names != OPPOSITES]
    answers = [(true[i % 9], _called(monkeypatch, rng, true[i % 9])) for i in range(200)]
    named = [(names, pair) for names, pair in answers if pair is not None]
    right = sum((pair.first, pair.second) == names for names, pair in named)
    assert len(named) > 200 * 0.2
    assert right > 0.75 * len(named)


def test_a_pair_is_told_beside_one_of_its_own_or_as_a_whole() -> None:
    pair = pairs.Pair(
        "overcharge",
        "sensor_fault",
        4.0,
        "normal",
        ("a",),
        ("b", "c"),
        ("liquid 9 K too cold",),
        ("pressures differ at rest", "gas too hot"),
    )
    assert pair.beside("overcharge") == (
        "sensor_fault",
        f"perhaps also {WORDS['sensor_fault']} (pressures differ at rest)",
    )
    assert pair.beside("sensor_fault") == (
        "overcharge",
        f"perhaps also {WORDS['overcharge']} (liquid 9 K too cold)",
    )
    assert pair.beside("undercharge") == (
        "",
        f"or two at once: {WORDS['overcharge']} and {WORDS['sensor_fault']}",
    )


@pytest.mark.parametrize(("advantage", "clear"), [(2.9, False), (3.0, False), (3.1, True)])
def test_a_pair_is_clear_at_more_than_twenty_to_one(advantage: float, clear: bool) -> None:
    """ln 20 = 3.0 (Kass & Raftery's "strong")."""
    pair = pairs.Pair("overcharge", "sensor_fault", advantage, "normal", (), (), (), ())
    assert pair.clear is clear


def test_a_fault_shows_in_a_finding_by_its_mean_or_its_spread_either_way() -> None:
    entry = replace(
        weigh.table().likelihoods["upstream_subcooling"],
        mean=np.array([1.0, 1.0, 3.0, -2.0, 1.0, 1.0]),
        spread=np.array([2.0, 2.0, 2.0, 2.0, 3.0, 1.0]),
        share=np.ones(6),
    )
    assert pairs._moved(entry).tolist() == [False, False, True, True, True, True]


def test_findings_that_a_fault_needs_gain_more_than_half_a_unit_the_two_strongest_first() -> None:
    assert pairs._needed(np.array([0.6, -3.0, 2.0, 0.5, 1.0])) == [2, 4]
    assert pairs._needed(np.array([0.5, 0.51])) == [1]
