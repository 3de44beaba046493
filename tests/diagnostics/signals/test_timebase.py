"""Windows, delays and gaps, against plain loops."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from diagnostics.samples import FloatArray
from diagnostics.signals import timebase as tb

Span = tuple[tb.Timebase, FloatArray]


@st.composite
def spans(draw: st.DrawFn) -> Span:
    """Ascending time stamps with jitter and gaps, and values with holes."""
    n = draw(st.integers(1, 40))
    steps = draw(
        st.lists(st.sampled_from([9.0, 10.0, 10.0, 10.0, 11.0, 60.0]), min_size=n, max_size=n)
    )
    values = draw(st.lists(st.sampled_from([np.nan, 1.0, 2.0, 5.5, -3.0]), min_size=n, max_size=n))
    return tb.of_seconds(np.cumsum(steps) - steps[0]), np.array(values)


def slow_window(
    timebase: tb.Timebase, values: FloatArray, i: int, before_s: float, after_s: float
) -> FloatArray:
    seconds, segment = timebase.seconds, timebase.segment
    inside = (seconds >= seconds[i] - before_s) & (seconds <= seconds[i] + after_s)
    kept = values[inside & (segment == segment[i])]
    return kept[~np.isnan(kept)]


@given(spans(), st.sampled_from([10.0, 35.0, 200.0]), st.booleans())
@settings(deadline=None)
def test_rolling_mean_agrees_with_plain_loops(span: Span, window_s: float, centred: bool) -> None:
    timebase, values = span
    mean = tb.rolling_mean(values, timebase, window_s, centred=centred)
    for i in range(values.size):
        reach = (window_s / 2, window_s / 2) if centred else (window_s, 0.0)
        kept = slow_window(timebase, values, i, *reach)
        assert mean[i] == pytest.approx(kept.mean() if kept.size else np.nan, nan_ok=True)


@given(spans())
@settings(deadline=None)
def test_since_and_until_agree_with_plain_loops(span: Span) -> None:
    timebase, values = span
    mask = values > 1.5
    since, until = tb.seconds_since(mask, timebase), tb.seconds_until(mask, timebase)
    when = timebase.seconds[mask]
    for i, now in enumerate(timebase.seconds):
        past, coming = when[when <= now], when[when >= now]
        assert since[i] == (now - past.max() if past.size else np.inf)
        assert until[i] == (coming.min() - now if coming.size else np.inf)


@given(spans(), st.sampled_from([0.0, 20.0, 45.0]))
@settings(deadline=None)
def test_lag_holds_back_the_first_part_of_every_stretch(span: Span, delay_s: float) -> None:
    timebase, values = span
    mask = ~np.isnan(values)
    lagged = tb.lag(mask, timebase, delay_s)
    start = None
    for i in range(mask.size):
        new_segment = i > 0 and timebase.segment[i] != timebase.segment[i - 1]
        if not mask[i]:
            start = None
        elif start is None or new_segment:
            start = timebase.seconds[i]
        expected = start is not None and timebase.seconds[i] - start >= delay_s
        assert lagged[i] == expected


def test_a_gap_starts_a_segment_and_no_window_reaches_over_it() -> None:
    timebase = tb.of_seconds(np.array([0.0, 10, 20, 30, 100, 110, 120]))
    assert timebase.interval_s == 10.0
    assert timebase.segment.tolist() == [0, 0, 0, 0, 1, 1, 1]
    values = np.array([1.0, 1, 1, 1, 9, 9, 9])
    assert tb.rolling_mean(values, timebase, 300.0).tolist() == values.tolist()


def test_jitter_and_one_missing_sample_start_no_segment() -> None:
    timebase = tb.of_seconds(np.array([0.0, 9.5, 20.4, 40.2, 50.0, 60.0]))
    assert timebase.segment.max() == 0


def test_a_value_is_held_over_two_intervals_and_no_longer() -> None:
    timebase = tb.of_seconds(np.arange(6) * 10.0)
    values = np.array([np.nan, 4.0, np.nan, np.nan, np.nan, 7.0])
    held = tb.hold(values, timebase)
    np.testing.assert_array_equal(held, [np.nan, 4.0, 4.0, 4.0, np.nan, 7.0])
    both = tb.hold(np.stack([values, np.arange(6.0)]), timebase)
    np.testing.assert_array_equal(both, [held, np.arange(6.0)])


def test_pressures_keep_their_digits_in_a_rolling_mean() -> None:
    timebase = tb.of_seconds(np.arange(9360) * 10.0)
    values = 3.2e6 + np.tile([-1.0, 1.0], 4680)
    mean = tb.rolling_mean(values, timebase, 19.0)
    assert np.abs(mean - values).max() < 1e-6


def test_runs_of_equal_values_are_counted_and_missing_ones_stand_alone() -> None:
    begin, count = tb.run_lengths(np.array([1.0, 1, np.nan, np.nan, 2, 2, 2]))
    assert begin.tolist() == [0, 2, 3, 4]
    assert count.tolist() == [2, 1, 1, 3]


@pytest.mark.parametrize("n", [0, 1])
def test_spans_too_short_to_have_an_interval_are_handled(n: int) -> None:
    timebase = tb.of_seconds(np.zeros(n))
    values = np.full(n, 3.0)
    mask = np.ones(n, bool)
    assert np.isnan(timebase.interval_s)
    assert tb.rolling_mean(values, timebase, 60.0).tolist() == values.tolist()
    assert tb.lag(mask, timebase, 0.0).tolist() == mask.tolist()
    assert tb.seconds_since(mask, timebase).tolist() == [0.0] * n
    assert tb.hold(values, timebase).tolist() == values.tolist()


def test_a_start_is_the_first_true_after_a_false() -> None:
    mask = np.array([True, False, True, True, False, True])
    assert np.flatnonzero(tb.starts(mask)).tolist() == [2, 5]


def test_a_change_of_pace_is_no_gap_but_a_pause_in_either_pace_is() -> None:
    slow = np.arange(0.0, 7200.0, 120.0)
    fast = 7200.0 + np.arange(0.0, 3600.0, 10.0)
    base = tb.of_seconds(np.concatenate([slow, fast]))
    assert base.segment.max() == 0
    np.testing.assert_array_equal(base.usual_s[[0, 30, -1]], [120.0, 120.0, 10.0])
    paused = np.concatenate([slow[:30], slow[34:], fast[:100], fast[104:]])
    assert tb.of_seconds(paused).segment.max() == 2


@pytest.mark.parametrize("every", [1, 3, 6])
def test_a_repeated_reading_is_refreshed_as_often_as_it_is_asked_for(every: int) -> None:
    steps = np.arange(6 * 360)
    fresh = 30.0 + np.random.default_rng(4).normal(0, 0.2, steps.size).round(2)
    timebase = tb.of_seconds(10.0 * steps)
    assert tb.refresh_s(fresh[steps // every * every], timebase) == 10.0 * every


def test_how_often_a_constant_is_refreshed_cannot_be_told() -> None:
    assert np.isnan(tb.refresh_s(np.full(500, 3.0), tb.of_seconds(10.0 * np.arange(500))))


@pytest.mark.parametrize(("pause", "gaps"), [(25.0, 0), (25.1, 1)])
def test_two_intervals_and_a_half_are_no_gap(pause: float, gaps: int) -> None:
    steps = np.array([10.0] * 8 + [pause] + [10.0] * 8)
    segment = tb.of_seconds(np.append(0.0, np.cumsum(steps))).segment
    assert segment.tolist() == [0] * 9 + [gaps] * 9


@pytest.mark.parametrize(("slow", "gaps"), [(7, 7), (8, 0)])
def test_a_pace_is_usual_where_most_of_fifteen_steps_keep_it(slow: int, gaps: int) -> None:
    """Of the seven steps before and after, and itself."""
    steps = np.array([10.0] * 30 + [120.0] * slow + [10.0] * 30)
    base = tb.of_seconds(np.append(0.0, np.cumsum(steps)))
    assert base.segment[-1] == gaps
    assert base.usual_s[32] == (10.0 if gaps else 120.0)
    assert base.usual_s[[0, -1]].tolist() == [10.0, 10.0]


@pytest.mark.parametrize(("late_s", "inside"), [(0.0, True), (0.0005, True), (0.002, False)])
def test_what_lies_on_the_edge_of_a_window_is_inside(late_s: float, inside: bool) -> None:
    seconds = np.array([0.0, 10.0, 20.0 + late_s])
    base = tb.of_seconds(seconds)
    low, high = base.window(0.0, 20.0)
    assert (low[0], high[0]) == (0, 3 if inside else 2)
    low, high = base.window(20.0, 0.0)
    assert (low[2], high[2]) == (0 if inside else 1, 3)
    assert base.window(20.0, 0.0)[0] is low


@pytest.mark.parametrize(("age_s", "held"), [(20.0, True), (20.0005, True), (20.1, False)])
def test_a_value_of_two_intervals_of_age_is_held(age_s: float, held: bool) -> None:
    base = tb.of_seconds(np.array([0.0, 10.0, 20.0, 30.0, 30.0 + age_s, 40.0 + age_s]))
    values = np.array([1.0, 2.0, 3.0, 4.0, np.nan, 6.0])
    kept = tb.hold(values, base)
    assert (kept[4] == 4.0) == held
    assert kept[[0, 1, 2, 3, 5]].tolist() == [1.0, 2.0, 3.0, 4.0, 6.0]
    assert tb.hold(np.arange(6.0), base).tolist() == list(range(6))


def test_nothing_is_held_before_the_first_value() -> None:
    base = tb.of_seconds(10.0 * np.arange(4))
    found = tb.hold(np.array([np.nan, np.nan, 5.0, np.nan]), base)
    np.testing.assert_array_equal(found, [np.nan, np.nan, 5.0, 5.0])


def test_near_reaches_before_and_after() -> None:
    base = tb.of_seconds(10.0 * np.arange(10))
    mask = np.arange(10) == 5
    assert np.flatnonzero(tb.near(mask, base, 20.0, 10.0)).tolist() == [3, 4, 5, 6]
    assert np.flatnonzero(tb.near(mask, base, 0.0, 0.0)).tolist() == [5]


def test_a_lag_begins_anew_after_a_gap_and_at_the_beginning() -> None:
    base = tb.of_seconds(np.array([0.0, 10, 20, 30, 3600, 3610, 3620, 3630]))
    held = np.ones(8, bool)
    assert tb.lag(held, base, 20.0).tolist() == [False, False, True, True] * 2
    assert tb.lag(held, base, 20.5).tolist() == [False, False, False, True] * 2


@pytest.mark.parametrize(("changes", "known"), [(49, False), (50, True)])
def test_fifty_changes_tell_how_often_a_reading_is_refreshed(changes: int, known: bool) -> None:
    values = np.arange(changes + 1) % 2.0
    found = tb.refresh_s(values, tb.of_seconds(30.0 * np.arange(changes + 1)))
    assert (found == 30.0) == known
    assert np.isnan(found) != known


@pytest.mark.parametrize(("early", "refresh_s"), [(1, 30.0), (6, 10.0)])
def test_one_change_too_early_in_a_hundred_does_not_tell_the_pace(
    early: int, refresh_s: float
) -> None:
    """Fresh every 30 s, but for a few answers that came after 10 s."""
    steps = np.full(100, 30.0)
    steps[10 * np.arange(1, early + 1)] = 10.0
    seconds = np.append(0.0, np.cumsum(steps))
    assert tb.refresh_s(np.arange(101) % 2.0, tb.of_seconds(seconds)) == refresh_s


def test_missing_readings_are_no_changes() -> None:
    """Every other one is missing; those that are there come every 20 s."""
    values = np.where(np.arange(200) % 2 == 0, np.arange(200) % 4, np.nan)
    assert tb.refresh_s(values, tb.of_seconds(10.0 * np.arange(200))) == 20.0


def test_windows_that_were_looked_through_stay_out_of_print() -> None:
    base = tb.of_seconds(10.0 * np.arange(4))
    base.window(20.0, 0.0)
    assert "window" not in repr(base)


def test_an_empty_mask_was_never_true() -> None:
    base = tb.of_seconds(np.zeros(0))
    none = np.zeros(0, bool)
    for found in (tb.seconds_since(none, base), tb.seconds_until(none, base), tb.starts(none)):
        assert found.size == 0
    assert tb.usual_intervals(np.zeros(0)).size == 0
    assert tb.run_lengths(np.zeros(0))[0].size == 0
