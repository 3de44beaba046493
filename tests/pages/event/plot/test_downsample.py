"""Fewer points, the same picture."""

from __future__ import annotations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from fleet.pages.event.plot import downsample


def seconds(n: int) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    return np.arange(n, dtype=np.float64) * 10.0


@settings(max_examples=60, deadline=None)
@given(
    values=st.lists(st.one_of(st.floats(-50, 50), st.just(float("nan"))), min_size=1, max_size=600),
    points=st.integers(10, 100),
)
def test_every_run_keeps_its_extremes_and_its_ends_apart(values: list[float], points: int) -> None:
    y = np.array(values)
    picked = downsample.picked(seconds(y.size), y, points)
    kept = picked[picked >= 0]
    assert np.all(np.diff(kept) > 0)
    assert np.isfinite(y[kept]).all()
    for start, end in downsample.runs(seconds(y.size), y):
        inside = kept[(kept >= start) & (kept < end)]
        assert y[inside].min() == y[start:end].min()
        assert y[inside].max() == y[start:end].max()


def test_a_long_run_comes_out_near_the_points_asked_for() -> None:
    y = np.sin(np.arange(20_000) / 50.0)
    picked = downsample.picked(seconds(y.size), y, 1500)
    assert 1400 <= picked.size <= 1503


def test_a_single_spike_among_many_points_survives() -> None:
    y = np.zeros(50_000)
    y[33_333] = 7.0
    assert 33_333 in downsample.picked(seconds(y.size), y, 500)


def test_the_line_breaks_where_data_are_missing_or_late() -> None:
    y = np.array([1.0, 2.0, np.nan, 3.0, 4.0, 5.0, 6.0])
    t = np.array([0.0, 10.0, 20.0, 30.0, 40.0, 100.0, 110.0])
    assert downsample.runs(t, y) == [(0, 2), (3, 5), (5, 7)]
    assert downsample.picked(t, y, 100).tolist() == [0, 1, -1, 3, 4, -1, 5, 6]


def test_nothing_known_draws_nothing() -> None:
    assert downsample.picked(seconds(3), np.full(3, np.nan), 10).size == 0
    assert downsample.picked(np.zeros(0), np.zeros(0), 10).size == 0
