"""When a drift is told, and what its days are held against, by hand."""

from __future__ import annotations

import numpy as np
import pytest

from diagnostics import drift as drifts
from diagnostics.drift import Change, Days, Drift, Kind
from diagnostics.expectation import Baseline
from tests.diagnostics.rows import START, windows

DAY = START.astype("datetime64[D]")
FLAT = Baseline(np.array([5.0, 0.0, 0.0, 0.0]), np.zeros((4, 4)), 21)


def days(count: int = 60, off_k: float = -2.0, last: int = 3, expected: float = 6.0) -> Days:
    """As expected but for the last days, which are off."""
    residual = np.where(np.arange(count) >= count - last, off_k, 0.0)
    return Days(
        DAY + np.arange(count),
        np.arange(count, dtype=float),
        residual,
        np.full(count, expected),
        np.eye(count),
        0.5,
    )


def told(monkeypatch: pytest.MonkeyPatch, of: Days, slope_z: float, step_z: float) -> Drift:
    """What is said of these days if slope and step are so many standard errors high."""
    slope = Change(20, 0.04 * np.sign(slope_z), 0.04 / abs(slope_z))
    step = Change(30, 0.8 * np.sign(step_z), 0.8 / abs(step_z))
    monkeypatch.setattr(drifts, "_comparable", lambda *_: of)
    monkeypatch.setattr(drifts, "changes", lambda _: (slope, step))
    return drifts.drift(windows(1), FLAT)


@pytest.mark.parametrize(
    ("slope_z", "step_z", "off_k", "kind"),
    [
        # A fall presses: told from 3.3 standard errors on, a rise from 5.
        (-3.4, 1.0, -2.0, Kind.FALLING),
        (-3.2, 1.0, -2.0, Kind.STEADY),
        (5.1, 1.0, 2.0, Kind.RISING),
        (4.9, 1.0, 2.0, Kind.STEADY),
        # The last days must be off by 1.2 K, and to the side of the slope.
        (-9.0, 1.0, -1.25, Kind.FALLING),
        (-9.0, 1.0, -1.15, Kind.STEADY),
        (-9.0, 1.0, 2.0, Kind.STEADY),
        (9.0, 1.0, -2.0, Kind.STEADY),
        # A step must be better by six in z squared (36 + 6 = 6.481 squared), and five high.
        (-6.0, 6.5, -2.0, Kind.STEP),
        (-6.0, 6.45, -2.0, Kind.FALLING),
        (1.0, -5.1, -2.0, Kind.STEP),
        (1.0, -4.9, -2.0, Kind.STEADY),
        (-4.0, 4.9, -2.0, Kind.STEADY),
    ],
)
def test_what_is_told_from_which_height_on(
    slope_z: float, step_z: float, off_k: float, kind: Kind, monkeypatch: pytest.MonkeyPatch
) -> None:
    found = told(monkeypatch, days(off_k=off_k), slope_z, step_z)
    assert found.kind is kind
    assert found.days == 60


def test_three_last_days_tell_where_the_subcooling_stands(monkeypatch: pytest.MonkeyPatch) -> None:
    """1.9 K on three days of four is 1.9 K, on two of them 1.27 K, on one less than asked."""
    for last, kind in ((3, Kind.FALLING), (2, Kind.FALLING), (1, Kind.STEADY)):
        assert told(monkeypatch, days(off_k=-1.9, last=last), -9.0, 1.0).kind is kind


@pytest.mark.parametrize(("count", "kind"), [(13, Kind.UNKNOWN), (14, Kind.STEADY)])
def test_two_weeks_of_days_are_the_least(
    count: int, kind: Kind, monkeypatch: pytest.MonkeyPatch
) -> None:
    found = told(monkeypatch, days(count), 1.0, 1.0)
    assert (found.kind, found.days) == (kind, count)


@pytest.mark.parametrize(("height_z", "word"), [(6.0, "rose"), (-6.0, "fell")])
def test_a_step_is_told_with_its_height_and_day(
    height_z: float, word: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    found = told(monkeypatch, days(), 1.0, height_z)
    assert found.sentence.startswith(f"Subcooling {word} by 0.8 K in one step about {DAY + 30}")
    assert (found.since, found.step_k) == (DAY + 30, np.sign(height_z) * 0.8)
    assert found.subcooling_k == pytest.approx(6.0 + np.sign(height_z) * 0.8)
    assert found.slope is None


def test_a_slope_is_told_with_its_bounds_and_where_it_stands(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """0.04 K a day since day 20, 39 days before the last; a tenth of it is twice the error."""
    found = told(monkeypatch, days(), -20.0, 1.0)
    assert found.slope is not None
    bounds = (found.slope.per_day, found.slope.low_per_day, found.slope.high_per_day)
    assert bounds == pytest.approx((-0.04, -0.044, -0.036))
    assert found.since == DAY + 20
    assert found.subcooling_k == pytest.approx(6.0 - 0.04 * 39)
    assert "by 0.28 K a week (0.25 to 0.31) for 39 days;" in found.sentence
    through = told(monkeypatch, days(expected=2.0), -16.0, 1.0)
    assert through.sentence.endswith("it stands below 1 K.")
    risen = told(monkeypatch, days(off_k=2.0), 16.0, 1.0)
    assert risen.sentence.startswith("Subcooling has risen against the system's own past by 0.28 K")
    assert risen.reaches is None


def test_days_are_held_against_what_was_expected_of_each() -> None:
    """5 K and, of these, what load and air add to it: here nothing."""
    rows = windows(2 * 96, subcooling_to_indoor_k=4.2)
    found = drifts._comparable(rows, FLAT)
    assert found.date.tolist() == [DAY.item(), (DAY + 1).item()]
    assert found.number.tolist() == [0.0, 1.0]
    assert found.residual == pytest.approx([-0.8, -0.8])
    assert found.expected == pytest.approx([5.0, 5.0])


def test_only_the_last_hundred_and_twenty_days_count() -> None:
    one = windows(1, to_indoor_s=20_000.0, subcooling_to_indoor_k=5.0)
    start = DAY.astype("datetime64[us]") + np.arange(130) * np.timedelta64(1, "D")
    rows = type(one)(start, np.repeat(one.features, 130, axis=0))
    found = drifts._comparable(rows, FLAT)
    assert found.date.size == 120
    assert found.date[0] == DAY + 10


def test_the_least_noise_is_three_tenths_and_memory_makes_it_larger() -> None:
    rows = windows(2 * 96)
    for learned, noise in ((0.0, 0.3), (0.8, 0.8)):
        base = Baseline(FLAT.mean, np.zeros((4, 4)), 21, learned)
        found = drifts._comparable(rows, base)
        assert found.noise_k == pytest.approx(1.3 * noise)
        assert found.covariance == pytest.approx(np.eye(2) * (1.3 * noise) ** 2)
