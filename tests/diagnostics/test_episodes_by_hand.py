"""When an episode opens and closes, window by window."""

from __future__ import annotations

import numpy as np
import pytest

from diagnostics import episodes
from diagnostics.episodes import Episode, Open
from diagnostics.findings import Context
from diagnostics.samples import FloatArray
from diagnostics.weighing import weigh
from diagnostics.weighing.weigh import Evidence, Weights
from diagnostics.windows import Windows
from tests.diagnostics.rows import START, plant, windows

QUARTER = np.timedelta64(15, "m")
TABLE = weigh.table()
NAN = np.nan


def at(number: int) -> np.datetime64:
    return START + number * QUARTER


@pytest.mark.parametrize(
    ("fault", "before", "inside"),
    [
        ([0.89, 0.9, 0.5, 0.36, 0.34, 0.5], False, [False, True, True, True, False, False]),
        # 0.35 itself does not close yet, and nothing said leaves things as they are.
        ([0.95, 0.35, NAN, 0.349, NAN], False, [True, True, True, False, False]),
        ([0.5, NAN, 0.2, 0.5], True, [True, True, False, False]),
        ([NAN, 0.5], False, [False, False]),
        ([NAN, 0.91], True, [True, True]),
    ],
)
def test_an_episode_opens_at_nine_in_ten_and_closes_below_a_good_third(
    fault: list[float], before: bool, inside: list[bool]
) -> None:
    assert episodes._latched(np.array(fault), before).tolist() == inside


SHARES = np.array(
    [
        [0.9, 0.1, 0.0, 0.0, 0.0, 0.0],
        [0.1, 0.6, 0.3, 0.0, 0.0, 0.0],
        [0.0, 0.1, 0.9, 0.0, 0.0, 0.0],
        [0.2, 0.2, 0.6, 0.0, 0.0, 0.0],
        [0.9, 0.0, 0.1, 0.0, 0.0, 0.0],
        [0.1, 0.0, 0.0, 0.0, 0.0, 0.9],
    ]
)
STARTS = np.array([at(i) for i in range(6)])


def test_stretches_are_told_by_what_they_came_to() -> None:
    """Windows 1 to 3 are one stretch: undercharge 1.8 against 0.9, at its highest in window 2.
    Window 5 is the begin of another, which is still open."""
    inside = np.array([False, True, True, True, False, True])
    closed, still = episodes._through(STARTS, SHARES, inside, None)
    assert closed == (Episode("undercharge", at(1), at(3), at(4), 0.9, at(2)),)
    assert still is not None
    assert (still.opened, still.last) == (at(5), at(5))
    assert still.total.tolist() == SHARES[5].tolist()
    assert still.episode(None) == Episode("sensor_fault", at(5), at(5), None, 0.9, at(5))


def before() -> Open:
    """A day's stretch of overcharge that ended with its last window before midnight."""
    shares = np.array([0.1, 0.9, 0.0, 0.0, 0.0, 0.0])
    return Open(at(-4), at(-1), 4 * shares, shares, np.full(6, at(-3)))


def test_a_stretch_goes_on_over_midnight() -> None:
    """4 * 0.9 + 0.1 + 0.6 of overcharge against 0.3: the first peak of 0.9 stands."""
    inside = np.array([True, True, False, False, False, False])
    closed, still = episodes._through(STARTS, SHARES, inside, before())
    assert closed == (Episode("overcharge", at(-4), at(1), at(2), 0.9, at(-3)),)
    assert still is None


def test_a_stretch_that_is_over_at_midnight_ends_with_its_last_window() -> None:
    inside = np.array([False, False, True, True, True, True])
    closed, still = episodes._through(STARTS, SHARES, inside, before())
    assert closed == (Episode("overcharge", at(-4), at(-1), at(0), 0.9, at(-3)),)
    assert still is not None
    assert still.opened == at(2)


def test_two_stretches_as_one_keep_the_higher_peak_and_the_earlier_of_equal_ones() -> None:
    later = Open(at(0), at(5), np.full(6, 2.0), np.array([0.2, 0.9, 0.5, 0, 0, 0]), STARTS)
    both = before().and_then(later)
    assert (both.opened, both.last) == (at(-4), at(5))
    assert both.total == pytest.approx([2.4, 5.6, 2.0, 2.0, 2.0, 2.0])
    assert both.peak.tolist() == [0.2, 0.9, 0.5, 0.0, 0.0, 0.0]
    assert both.peak_at.tolist()[:3] == [at(0).item(), at(-3).item(), at(2).item()]


def follow(
    monkeypatch: pytest.MonkeyPatch, rows: Windows, faults: FloatArray
) -> list[episodes.Day]:
    """As if each window had come to these probabilities of overcharge."""

    def weighed(of: Windows, context: Context, weights: Weights) -> Evidence:
        shares = np.zeros((len(of), 6))
        shares[:, 1] = faults[-len(of) :]
        shares[:, 0] = 1.0 - shares[:, 1]
        return Evidence((), np.zeros(0), shares, shares)

    monkeypatch.setattr(weigh, "weigh", weighed)
    return episodes.follow(rows, Context(plant()), TABLE)


@pytest.mark.parametrize(("quarters", "opened"), [(16, True), (15, False)])
def test_four_hours_judged_in_two_days_are_the_least(
    quarters: int, opened: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The last of so many quarters of an hour speaks, those before it do not."""
    (day,) = follow(monkeypatch, windows(quarters), np.full(quarters, 0.95))
    assert (day.still_open is not None) == opened
    if day.still_open:
        assert day.still_open.opened == at(quarters - 1)


def test_judged_time_is_that_of_two_days(monkeypatch: pytest.MonkeyPatch) -> None:
    """Sixteen judged quarters, then none: 48 hours after the first one too few are left."""
    rows = windows(200, judged_s=0.0)
    rows.features[:16] = windows(16).features
    days = follow(monkeypatch, rows, np.r_[np.zeros(191), 0.95, np.full(8, 0.95)])
    # Window 191 begins 47 h 45 min after window 0.
    assert days[-2].still_open is not None
    assert days[-2].still_open.opened == at(191)
    late = follow(monkeypatch, rows, np.r_[np.zeros(192), np.full(8, 0.95)])
    assert late[-1].still_open is None
