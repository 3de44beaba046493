"""What a reading tells of two conditions alone, against integrals and sums done by hand."""

from __future__ import annotations

from dataclasses import replace
from math import erf, sqrt

import numpy as np
import pytest

from diagnostics.findings import Measured
from diagnostics.weighing import settling, weigh
from diagnostics.weighing.onsite import Own, Reading
from diagnostics.weighing.settling import Step
from diagnostics.weighing.weigh import CONDITIONS, Evidence

TABLE = replace(weigh.table(), floor_share=1e-6)
"""With next to no floor, so that plain normal distributions are left."""
NOTHING = tuple(
    Measured(*(np.array([np.nan, 99.0]) for _ in range(3)), np.array([0.0, 9e9]))
    for _ in settling._PLACES
)
"""Nothing was measured of the row asked about; what a day below it says does not count."""


def own(apart: float, do: str = "Hold it", unit: str = "K", start: float = 0.0) -> Reading:
    """Normal at ``start``, a restriction ``apart`` from it, both good to 1."""
    numbers = {
        "normal": Own(start, 1.0, 1.0, ""),
        "flow_restriction": Own(start + apart, 1.0, 1.0, ""),
    }
    return Reading(do=do, reads="it", unit=unit, sigma=0.0, own=numbers)


def evidence(**shares: float) -> Evidence:
    row = np.zeros((1, len(TABLE.hypotheses)))
    for name, share in shares.items():
        row[0, TABLE.hypotheses.index(name)] = share
    row = np.vstack([row, row[:, ::-1]])
    return Evidence(NOTHING, np.zeros((0, 2, 1)), row, weigh.together(row, TABLE))


def told(monkeypatch: pytest.MonkeyPatch, *readings: Reading, **shares: float) -> tuple[Step, ...]:
    monkeypatch.setattr(settling, "READINGS", readings)
    return settling.settle(evidence(**shares), TABLE)


def below(deviations: float) -> float:
    """Share of a normal distribution below so many standard deviations."""
    return 0.5 * (1.0 + erf(deviations / sqrt(2.0)))


def information(apart: float, share: float) -> float:
    """Bits that a reading gives of two normal distributions, by a fine sum."""
    x = np.linspace(-12.0, 12.0 + apart, 20_001)
    one, other = (np.exp(-0.5 * (x - m) ** 2) / np.sqrt(2 * np.pi) for m in (0.0, apart))
    p, q = (1.0 - share) * one, share * other
    both = p + q
    left = -np.trapezoid(p * np.log2(p / both + 1e-300) + q * np.log2(q / both + 1e-300), x)
    return float(-(1 - share) * np.log2(1 - share) - share * np.log2(share) - left)


def test_far_apart_readings_settle_everything(monkeypatch: pytest.MonkeyPatch) -> None:
    (step,) = told(monkeypatch, own(10.0), normal=0.5, flow_restriction=0.5)
    assert (step.bits, step.now, step.then, step.changes) == pytest.approx(
        (1.0, 0.5, 1.0, 0.5), abs=1e-4
    )
    assert step.do == "Hold it"
    assert step.points == (
        "it below 5 K: no fault, 100%",
        "it above 5 K: a restriction in the liquid line, 100%",
    )


@pytest.mark.parametrize(("apart", "share"), [(1.5, 0.5), (2.5, 0.5), (2.0, 0.3), (3.0, 0.2)])
def test_bits_are_those_of_the_integral(
    apart: float, share: float, monkeypatch: pytest.MonkeyPatch
) -> None:
    shares = {"normal": 1.0 - share, "flow_restriction": share}
    (step,) = told(monkeypatch, own(apart), **shares)
    assert step.bits == pytest.approx(information(apart, share), abs=0.03)
    assert step.now == pytest.approx(1.0 - share)
    # The likeliest is another one beyond the point where both are as likely.
    turn = apart / 2.0 + np.log((1.0 - share) / share) / apart
    right = (1.0 - share) * below(turn) + share * below(apart - turn)
    changes = (1.0 - share) * below(-turn) + share * below(apart - turn)
    assert step.then == pytest.approx(right, abs=0.03)
    assert step.changes == pytest.approx(changes, abs=0.1)


@pytest.mark.parametrize(
    ("apart", "share", "steps"),
    [
        # Half a spread apart makes 0.044 bits, 0.65 makes 0.074.
        (0.50, 0.5, 0),
        (0.65, 0.5, 1),
        # 0.8 in a hundred are 0.067 bits and a gain of 0.008, 1.2 are 0.093 and 0.012.
        (40.0, 0.008, 0),
        (40.0, 0.012, 1),
        # 0.5 in a hundred are 0.045 bits.
        (40.0, 0.005, 0),
    ],
)
def test_a_step_is_worth_its_way_from_a_twentieth_of_a_bit_and_a_hundredth_of_surety(
    apart: float, share: float, steps: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    found = told(monkeypatch, own(apart), normal=1.0 - share, flow_restriction=share)
    assert len(found) == steps


def test_the_three_that_tell_most_are_told_best_first(monkeypatch: pytest.MonkeyPatch) -> None:
    readings = [own(apart, str(apart)) for apart in (1.0, 3.0, 0.1, 2.0, 4.0)]
    found = told(monkeypatch, *readings, normal=0.5, flow_restriction=0.5)
    assert [step.do for step in found] == ["4.0", "3.0", "2.0"]
    alike = [own(3.0, name) for name in "abcd"]
    found = told(monkeypatch, *alike, normal=0.5, flow_restriction=0.5)
    assert [step.do for step in found] == ["a", "b", "c"]


def test_a_hypothesis_of_less_than_a_thousandth_is_left_out(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Then what is left is as likely as if it had never been."""
    some = {"normal": 0.4996, "flow_restriction": 0.4996}
    (step,) = told(monkeypatch, own(40.0), **some, overcharge_slight=0.0008)
    assert (step.bits, step.now) == pytest.approx((1.0, 0.5), abs=1e-4)
    (step,) = told(monkeypatch, own(40.0), **some, overcharge_slight=0.0016)
    assert step.now == pytest.approx(0.4996 / 1.0008)


def test_a_share_is_told_between_none_and_all(monkeypatch: pytest.MonkeyPatch) -> None:
    """Half way between 0.1 and 0.9; the far tails below 0 and above 1 are not spoken of."""
    sharp = {"normal": Own(0.1, 0.1, 1.0, ""), "flow_restriction": Own(0.9, 0.1, 1.0, "")}
    reading = Reading(do="", reads="share", unit="share", sigma=0.0, own=sharp)
    (step,) = told(monkeypatch, reading, normal=0.5, flow_restriction=0.5)
    assert step.points[0] == "share below 50%: no fault, 100%"
    values: list[np.ndarray] = []
    plain = settling._runs

    def seen(joint: np.ndarray, member: np.ndarray, at: np.ndarray, printed: object) -> object:
        values.append(at)
        return plain(joint, member, at, printed)  # type: ignore[arg-type]

    monkeypatch.setattr(settling, "_runs", seen)
    told(monkeypatch, reading, normal=0.5, flow_restriction=0.5)
    told(monkeypatch, own(10.0), normal=0.5, flow_restriction=0.5)
    assert (values[0][0], values[0][-1]) == pytest.approx((0.0, 1.0))
    # Others are told three spreads beyond either.
    assert (values[1][0], values[1][-1]) == pytest.approx((-3.0, 13.0))


def test_a_hypothesis_of_a_hundredth_or_less_does_not_widen_what_is_told(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    ends: list[float] = []
    plain = settling._runs

    def seen(joint: np.ndarray, member: np.ndarray, at: np.ndarray, printed: object) -> object:
        ends.append(float(at[-1]))
        return plain(joint, member, at, printed)  # type: ignore[arg-type]

    monkeypatch.setattr(settling, "_runs", seen)
    numbers = {
        "normal": Own(0.0, 1.0, 1.0, ""),
        "flow_restriction": Own(10.0, 1.0, 1.0, ""),
        "valve_leaks": Own(50.0, 1.0, 1.0, ""),
    }
    reading = Reading(do="", reads="it", unit="K", sigma=0.0, own=numbers)
    for few in (0.009, 0.012):
        half = (1.0 - few) / 2.0
        told(monkeypatch, reading, normal=half, flow_restriction=half, valve_leaks=few)
    assert ends == pytest.approx([13.0, 53.0])


def test_stretches_are_told_with_their_own_odds(monkeypatch: pytest.MonkeyPatch) -> None:
    """At 4 spreads apart 98 in 100 of either lie on their own side of the middle."""
    (step,) = told(monkeypatch, own(4.0), normal=0.5, flow_restriction=0.5)
    sure = below(2.0)
    assert step.points == (
        f"it below 2.0 K: no fault, {sure:.0%}",
        f"it above 2.0 K: a restriction in the liquid line, {sure:.0%}",
    )


def test_three_conditions_make_three_stretches(monkeypatch: pytest.MonkeyPatch) -> None:
    numbers = {
        "normal": Own(100.0, 9.0, 1.0, ""),
        "flow_restriction": Own(300.0, 9.0, 1.0, ""),
        "valve_leaks": Own(200.0, 9.0, 1.0, ""),
    }
    reading = Reading(do="", reads="it", unit="kPa", sigma=0.0, own=numbers)
    third = 1.0 / 3.0
    (step,) = told(monkeypatch, reading, normal=third, flow_restriction=third, valve_leaks=third)
    assert [point.partition(":")[0] for point in step.points] == [
        "it below 150 kPa",
        "it 150 kPa to 250 kPa",
        "it above 250 kPa",
    ]
    assert step.bits == pytest.approx(np.log2(3.0), abs=1e-3)
    assert "it leaks when closed" in step.points[1]


def test_the_share_that_shows_a_hypothesis_is_mixed_with_normal(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Shown by half: mean 5, square (100 + 1 + 0 + 1) / 2; own instruments add 2."""
    numbers = {"normal": Own(0.0, 1.0, 1.0, ""), "flow_restriction": Own(10.0, 1.0, 0.5, "")}
    reading = Reading(do="", reads="", unit="K", sigma=2.0, own=numbers)
    mean, spread = settling._reading(reading, NOTHING, TABLE)
    place = TABLE.hypotheses.index("flow_restriction")
    assert mean[place] == pytest.approx(5.0)
    assert spread[place] == pytest.approx(np.sqrt(51.0 - 25.0 + 4.0))
    other = TABLE.hypotheses.index("overcharge_slight")
    assert (mean[other], spread[other]) == pytest.approx((0.0, np.sqrt(1.0 + 4.0)))
    assert len(CONDITIONS) == 6


def test_own_instruments_do_not_share_the_faults_they_are_blind_to() -> None:
    """A quantity taken again reads as normal under these, as the finding would under others."""
    reading = Reading(
        do="",
        reads="",
        unit="K",
        sigma=1.5,
        finding="upstream_subcooling",
        blind=("discharge_pressure_reads_high",),
    )
    entry = TABLE.likelihoods["upstream_subcooling"]
    mean, spread = settling._reading(reading, NOTHING, TABLE)
    at = TABLE.hypotheses.index
    high, low = at("discharge_pressure_reads_high"), at("discharge_pressure_reads_low")
    assert (mean[high], spread[high]) == pytest.approx(
        (entry.mean[0], np.hypot(entry.spread[0], 1.5))
    )
    assert mean[low] != pytest.approx(mean[0])


def test_an_unlikely_condition_is_told_from_further_on(monkeypatch: pytest.MonkeyPatch) -> None:
    """31 in 100, 4 spreads apart: as likely as the other at 2 + ln(69/31) / 4 = 2.2."""
    (step,) = told(monkeypatch, own(4.0), normal=0.69, flow_restriction=0.31)
    assert [point.partition(":")[0] for point in step.points] == [
        "it below 2.2 K",
        "it above 2.2 K",
    ]


@pytest.mark.parametrize("seed", range(12))
def test_the_best_cut_is_the_best_of_all_tried_one_by_one(seed: int) -> None:
    """Mass below times mass above times the squared distance of what they say; four per cent of
    the mass on either side at least."""
    rng = np.random.default_rng(seed)
    joint, member = rng.random((9, 3)) ** 3, np.array([[1.0, 0.0], [0.0, 1.0], [0.0, 1.0]])
    mass = joint.sum(axis=1) / joint.sum()
    worth = {}
    for cut in range(1, 9):
        low, high = (part.sum(axis=0) @ member for part in (joint[:cut], joint[cut:]))
        apart = ((low / low.sum() - high / high.sum()) ** 2).sum()
        under = mass[:cut].sum()
        if 0.04 < under < 0.96:
            worth[cut] = under * (1.0 - under) * apart
    assert settling._best_split(joint, member, mass) == max(worth, key=lambda cut: worth[cut])


def test_repeats_differ_by_the_healthy_spread_whatever_the_hypothesis() -> None:
    """Healthy 2 K, so 0.6 K; the hypothesis has 4 K. With sigma 0.8 K and much data: precision
    1/16 + 1, mean (8/16 + 1) / (17/16)."""
    entry = replace(
        TABLE.likelihoods["upstream_subcooling"], spread=np.array([2.0, 4.0]), half_s=1e-9
    )
    logged = Measured(*(np.array([x]) for x in (6.0, 5.0, 0.8, 3600.0)))
    mean, spread = settling._held(np.array([8.0]), np.array([4.0]), logged, entry)
    assert mean == pytest.approx([1.5 / (17 / 16)])
    assert spread == pytest.approx([np.sqrt(16 / 17 + 0.36)])


def test_a_step_of_old_says_what_to_do_and_no_numbers() -> None:
    step = Step("Weigh it")
    assert (step.points, step.bits, step.now, step.then, step.changes) == ((), 0.0, 0.0, 0.0, 0.0)
