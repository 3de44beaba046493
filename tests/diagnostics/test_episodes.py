"""Windows join into episodes and let go only when the suspicion is really over."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from diagnostics import episodes
from diagnostics.findings import Context
from diagnostics.weighing import weigh
from diagnostics.windows import empty
from tests.diagnostics.rows import START, joined, plant, windows

DAY = 96


def test_a_healthy_system_has_no_episode() -> None:
    assert episodes.episodes(windows(3 * DAY), plant()) == ()
    assert episodes.episodes(empty(), plant()) == ()


def test_a_lasting_shortage_opens_one_episode_and_leaves_it_open() -> None:
    bad = windows(
        3 * DAY,
        2 * DAY,
        subcooling_to_indoor_k=-0.2,
        saturated_share=0.9,
        suction_superheat_k=17.0,
        discharge_superheat_k=55.0,
        evaporating_error_k=-5.0,
    )
    (episode,) = episodes.episodes(joined(windows(2 * DAY), bad), plant())
    assert episode.condition == "undercharge"
    assert episode.closed is None
    assert bad.start[0] <= episode.opened < bad.start[DAY]
    assert episode.peak_probability > 0.9


def test_an_idle_weekend_neither_closes_nor_opens_anything() -> None:
    sick = {
        "subcooling_to_indoor_k": 14.0,
        "discharge_superheat_k": 12.0,
        "suction_superheat_k": 0.5,
    }
    idle = dict.fromkeys(("running_s", "judged_s", "to_indoor_s", "loaded_s", "cooling_s"), 0.0)
    rest = windows(3 * DAY, 2 * DAY, standstill_s=900.0, standstill_difference_pa=0.0, **idle)
    (episode,) = episodes.episodes(
        joined(windows(2 * DAY, **sick), rest, windows(2 * DAY, 5 * DAY, **sick)), plant()
    )
    assert episode.closed is None
    assert episode.opened < START + np.timedelta64(1, "D")


def test_a_repair_closes_the_episode_within_two_days() -> None:
    bad = windows(
        2 * DAY,
        subcooling_to_indoor_k=14.0,
        discharge_superheat_k=12.0,
        suction_superheat_k=0.5,
    )
    (episode,) = episodes.episodes(joined(bad, windows(4 * DAY, 2 * DAY)), plant())
    assert episode.condition == "overcharge"
    assert episode.closed is not None
    assert START + np.timedelta64(2, "D") < episode.closed <= START + np.timedelta64(4, "D")


def test_episodes_follow_the_weights_they_are_given() -> None:
    rows = windows(3 * DAY, subcooling_to_indoor_k=14.0, discharge_superheat_k=12.0)
    assert episodes.episodes(rows, plant())
    deaf = dict.fromkeys(weigh.table().likelihoods, 0.0)
    assert not episodes.episodes(rows, plant(), replace(weigh.table(), factors=deaf))


def test_days_followed_from_what_was_kept_come_to_the_same() -> None:
    """A stretch that is open at midnight goes on, or ends before the day's first window."""
    sick = {
        "subcooling_to_indoor_k": 14.0,
        "discharge_superheat_k": 12.0,
        "suction_superheat_k": 0.5,
    }
    rows = joined(windows(2 * DAY, **sick), windows(4 * DAY, 2 * DAY))
    context, weights = Context(plant()), weigh.table()
    whole = episodes.follow(rows, context, weights)
    assert [bool(day.closed) for day in whole].count(True) == 1
    for number, kept in enumerate(whole[:-1], start=1):
        since = START + np.timedelta64(number, "D")
        later = rows.rows(rows.start >= since - np.timedelta64(2, "D"))
        again = episodes.follow(later, context, weights, since, kept.still_open)
        assert [day.day for day in again] == [day.day for day in whole[number:]]
        assert [day.closed for day in again] == [day.closed for day in whole[number:]]


def test_a_stretch_that_was_open_ends_with_its_own_last_window() -> None:
    """Nothing is suspected from midnight on, so its end is midnight, not later."""
    quarter = np.timedelta64(15, "m")
    midnight = START + np.timedelta64(2, "D")
    first, last = midnight - 8 * quarter, midnight - quarter
    shares = np.array([0.0, 0.9, 0.1, 0.0, 0.0, 0.0])
    before = episodes.Open(first, last, 8 * shares, shares, np.full(6, first))
    (day,) = episodes.follow(windows(3 * DAY), Context(plant()), weigh.table(), midnight, before)
    assert day.closed == (episodes.Episode("overcharge", first, last, midnight, 0.9, first),)
    assert day.still_open is None


@given(st.lists(st.floats(0, 1), min_size=1, max_size=60))
def test_between_the_two_thresholds_nothing_changes(suspicion: list[float]) -> None:
    fault = np.array(suspicion)
    inside = episodes._latched(fault)
    state = False
    for value, got in zip(fault, inside, strict=True):
        if value >= episodes.OPEN_AT:
            state = True
        elif value < episodes.CLOSE_AT:
            state = False
        assert got == state
