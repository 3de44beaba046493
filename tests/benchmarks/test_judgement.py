"""The exam itself: it runs, its labels stay out of the detectors' sight, its bars can fail."""

from __future__ import annotations

from dataclasses import fields, replace
from pathlib import Path

import numpy as np
import pytest

from diagnostics import reduction, verdict
from diagnostics.channels import INDOOR, OUTDOOR
from diagnostics.findings import REGISTRY, Context
from diagnostics.plant import Plant
from diagnostics.samples import Samples
from diagnostics.signals import direction, gather
from diagnostics.weighing import weigh
from fixtures.exams import exam as drawn
from fixtures.exams import leaks as leaking
from fixtures.simulator.spec import CircuitTraits, SystemSpec
from tests.benchmarks.judgement import (
    ablation,
    cases,
    changes,
    degradation,
    exam,
    examine,
    figures,
    groups,
    leaks,
    naive,
)
from tests.benchmarks.judgement.groups import Sitting, Size
from tests.diagnostics.rows import plant, windows


@pytest.fixture(autouse=True)
def _own_cache(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("MILLRACE_CACHE", str(tmp_path))


@pytest.fixture(scope="module")
def specs() -> list[SystemSpec]:
    return drawn(5, 3, days=0.5, interval_s=30)


def test_the_exam_prints_every_figure_for_three_systems(specs: list[SystemSpec]) -> None:
    outcomes = [examine.sit(Sitting(groups.FLEET, spec)) for spec in specs]
    titles = dict(exam.sections(outcomes))
    assert len(titles) == 8
    assert sum(figure.bar is not None for made in titles.values() for figure in made) == 21
    lines = list(exam.lines(outcomes))
    assert any(line.startswith("misdiagnosed") for line in lines)
    # Groups that nobody sits in show as such, and a bar on nothing is not met.
    empty = titles["Direction of the liquid"][0]
    assert empty.words == "drop >= 2 K, 0.3 K sensors: right"
    assert "NOT MET" in empty.line()


def test_labels_do_not_reach_the_detectors(
    specs: list[SystemSpec], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Analysis and verdict come before the truth is asked for, and get readings and plant only."""
    asked: list[str] = []
    known, by_days, judge = cases.Case.known, examine.by_days, examine.verdict.judge

    def seen_by(*given: object) -> object:
        assert [type(it) for it in given] == [Samples, Plant]
        asked.append("analysis")
        return by_days(*given)  # type: ignore[arg-type]

    def judged(*given: object) -> object:
        asked.append("verdict")
        return judge(*given)  # type: ignore[arg-type]

    def told(case: cases.Case) -> cases.Known:
        asked.append("truth")
        return known(case)

    monkeypatch.setattr(examine, "by_days", seen_by)
    monkeypatch.setattr(examine.verdict, "judge", judged)
    monkeypatch.setattr(cases.Case, "known", told)
    examine.sit(Sitting(groups.FLEET, specs[0]))
    assert asked == ["analysis", "verdict", "truth"]


def test_what_is_seen_is_the_same_without_truth_and_hidden_traits(specs: list[SystemSpec]) -> None:
    spec = next(it for it in specs if it.faults or it.lookalikes)
    case = cases.of(spec)
    blank = cases.Case(
        replace(spec, faults=(), lookalikes=(), traits=CircuitTraits(), seed=0),
        {name: values for name, values in case.arrays.items() if not name.startswith("truth.")},
    )
    (samples, manifest), (same, same_manifest) = case.seen(), blank.seen()
    assert manifest == same_manifest
    assert {f.name for f in fields(Samples)} == {"time", "outdoor", "indoor"}
    for side in ("outdoor", "indoor"):
        ours, theirs = getattr(samples, side), getattr(same, side)
        assert ours.keys() == theirs.keys()
        assert all(np.array_equal(ours[name], theirs[name], equal_nan=True) for name in ours)


def test_a_kept_case_is_the_fresh_one(specs: list[SystemSpec]) -> None:
    fresh, written = cases.of(specs[0], keep=False), cases.of(specs[0])
    assert len(list(cases.folder().glob("*.npz"))) == 1
    read = cases.of(specs[0])
    for again in (written, read):
        assert again.arrays.keys() == fresh.arrays.keys()
        for name, values in fresh.arrays.items():
            assert np.array_equal(values, again.arrays[name], equal_nan=values.dtype.kind == "f")


def test_a_broken_kept_case_is_made_again(specs: list[SystemSpec]) -> None:
    cases.of(specs[0])
    (path,) = cases.folder().glob("*.npz")
    path.write_bytes(path.read_bytes()[:1000])
    assert cases.of(specs[0]).time.size == cases.of(specs[0], keep=False).time.size


def test_the_cache_is_bounded(specs: list[SystemSpec]) -> None:
    for spec in specs:
        cases.of(spec)
    size = max(path.stat().st_size for path in cases.folder().glob("*.npz"))
    cases.trim(size)
    assert len(list(cases.folder().glob("*.npz"))) <= 1


def test_halves_share_no_system() -> None:
    seen = {
        half: {repr(it.spec.traits) for it in groups.everyone(Size(seed, systems=12))}
        for half, seed in groups.HALVES.items()
    }
    assert len(seen["tuning"]) > 20
    assert not seen["tuning"] & seen["exam"]


def test_no_sensor_fault_sits_among_the_sensor_classes() -> None:
    sittings = groups.everyone(Size(3, systems=60))
    classes = [it for it in sittings if it.group in groups.SENSOR_GROUPS]
    assert len(classes) == 30
    assert all("sensor_fault" not in it.spec.conditions for it in classes)
    assert any("sensor_fault" in it.spec.conditions for it in sittings)


def test_a_bar_is_met_or_not_by_the_figure_and_its_interval_says_how_surely() -> None:
    share = figures.systems("found", [True] * 95 + [False] * 5)
    assert share.against(figures.least(0.95)).met
    assert "met, not surely" in share.against(figures.least(0.95)).line()
    assert "NOT MET" in share.against(figures.least(0.999)).line()
    assert not share.against(figures.least(0.999)).met
    assert not figures.systems("found", []).against(figures.most(1.0)).met


def test_the_interval_of_pooled_samples_knows_that_systems_are_the_unit() -> None:
    """One system of ten is all wrong: a million samples do not make that one in ten sure."""
    share = figures.ratio("right", [1e5] * 9 + [0.0], [1e5] * 10)
    assert share.value == pytest.approx(0.9)
    assert share.low < 0.75
    assert share.high == pytest.approx(1.0)


@pytest.mark.parametrize("name", [it for it in changes.CHANGES if it != changes.COMPLETE])
def test_every_step_can_be_taken_out_and_comes_back(name: str) -> None:
    """Each change reaches what it names, for the time of its ``with`` alone."""
    targets = {
        "without direction: the mode decides": (direction, "infer"),
        "without the learned sensor offset": (direction, "learn_offset"),
        "without the balance of heating and cooling": (reduction, "reduce"),
        "without demand: any counts as high": (reduction, "HIGH_DEMAND"),
        "without the learned expectation": (verdict, "baseline"),
        "without instrument checks": (weigh, "table"),
    }
    module, attribute = targets[name]
    before = getattr(module, attribute)
    with changes.CHANGES[name]():
        assert getattr(module, attribute) is not before
    assert getattr(module, attribute) is before


def test_the_mode_is_taken_for_the_direction_of_the_liquid(specs: list[SystemSpec]) -> None:
    with changes.mode_decides():
        found = gather.compute(*cases.of(specs[0]).seen())
    mode = changes.main_mode(found.samples, found.states)
    assert np.array_equal(found.direction.sign, np.where(found.states.running, mode, 0))
    assert set(mode.tolist()) <= {-1, 1}


def test_instrument_checks_are_the_findings_that_tell_of_no_circuit() -> None:
    names = changes.instrument_checks()
    assert {"standstill_pressures", "frozen_reading", "thermistor_offset"} <= names
    assert not names & {"upstream_subcooling", "suction_superheat", "line_flow"}
    with changes.no_instrument_checks():
        said = weigh.weigh(windows(1, frozen_share=1.0), Context(plant()), weigh.table())
    assert not any(
        push.any()
        for finding, push in zip(REGISTRY, said.push, strict=True)
        if finding.name in names
    )


@pytest.mark.parametrize(
    ("subcooling_k", "superheat_k", "expected"),
    [
        (5.0, 5.0, "normal"),
        (1.0, 5.0, "undercharge"),
        (12.0, 5.0, "overcharge"),
        (12.0, 15.0, "flow_restriction"),
    ],
)
def test_the_usual_practice_goes_by_fixed_limits(
    subcooling_k: float, superheat_k: float, expected: str
) -> None:
    row = windows(
        1,
        to_indoor_s=20_000.0,
        loaded_s=20_000.0,
        subcooling_to_indoor_k=subcooling_k,
        suction_superheat_k=superheat_k,
    )
    assert naive.leading(row) == expected


def test_a_slower_logger_keeps_a_part_of_the_same_history(specs: list[SystemSpec]) -> None:
    case = cases.of(specs[0])
    slow = cases.thinned(case, 120)
    samples, _ = slow.seen()
    step = np.diff(samples.time) / np.timedelta64(1, "s")
    assert np.median(step) == 120.0
    assert set(samples.time.tolist()) <= set(case.time.tolist())
    assert slow.known().direction.size == len(samples)
    assert slow.spec.segments[0].interval_s == 120


def test_a_channel_left_out_is_not_seen(specs: list[SystemSpec]) -> None:
    samples, _ = cases.without(
        cases.of(specs[0]), ("room_temperature", "discharge_pressure")
    ).seen()
    assert "room_temperature" not in samples.indoor
    assert "discharge_pressure" not in samples.outdoor
    assert "suction_pressure" in samples.outdoor


def test_a_system_is_judged_in_every_way_on_the_same_data(specs: list[SystemSpec]) -> None:
    names = (*changes.CHANGES, ablation.PRACTICE)
    made = ablation.sit(Sitting(groups.FLEET, specs[0]), names=names, keep=True)
    assert tuple(made) == names
    blocks = {outcome.tally.counts["steady"] for outcome in made.values()}
    assert len(blocks) == 1
    practice = made[ablation.PRACTICE]
    assert set(practice.conditions.values()) <= {0.0, 1.0, 1 / 6}
    assert (
        made[changes.COMPLETE].conditions == examine.sit(Sitting(groups.FLEET, specs[0])).conditions
    )


def test_without_a_pressure_there_is_no_answer_and_no_certainty(specs: list[SystemSpec]) -> None:
    made = degradation.channels_out(Sitting(groups.FLEET, specs[0]), keep=True)
    assert len(made) == 2 + len(OUTDOOR) + len(INDOOR)
    blind = made["without discharge_pressure"]
    assert blind.leading == verdict.NOT_ENOUGH_DATA
    assert not blind.confidently_wrong
    assert blind.tally.counts["steady answered"] == 0


def test_a_leak_is_through_after_it_begins_and_calls_are_dated_from_then() -> None:
    spec = leaking(groups.TUNING_SEED, 1, interval_s=300)[0]
    found = leaks.leak(spec, keep=False)
    onset = spec.faults[0].onset
    assert onset is not None
    assert found.onset == (onset - spec.start).days
    assert found.through is None or found.through >= found.onset
    assert found.drift_called is None or found.drift_called >= found.onset
    assert found.verdict_called is not None
