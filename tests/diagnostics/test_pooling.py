"""Pooled rows are the same whatever they were cut into."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from diagnostics import pooling
from diagnostics.windows import INDEX, Windows, empty
from tests.diagnostics.rows import joined, windows

subcoolings = st.lists(
    st.tuples(st.floats(-5, 20), st.sampled_from([0.0, 100.0, 800.0])), min_size=1, max_size=12
)


def _rows(values: list[tuple[float, float]]) -> Windows:
    return joined(
        *(
            windows(1, i, subcooling_to_indoor_k=value if rests else np.nan, to_indoor_s=rests)
            for i, (value, rests) in enumerate(values)
        )
    )


@given(subcoolings)
def test_a_pooled_mean_weighs_each_window_by_its_seconds(values: list[tuple[float, float]]) -> None:
    pooled = pooling.pool(_rows(values))
    seconds = sum(rests for _, rests in values)
    assert pooled.column("to_indoor_s")[0] == seconds
    mean = pooled.column("subcooling_to_indoor_k")[0]
    if not seconds:
        assert np.isnan(mean)
    else:
        expected = sum(value * rests for value, rests in values) / seconds
        np.testing.assert_allclose(mean, expected, atol=1e-9)


@given(subcoolings, st.integers(0, 12))
def test_pooling_parts_and_then_the_whole_gives_the_whole(
    values: list[tuple[float, float]], cut: int
) -> None:
    rows = _rows(values)
    parts = joined(
        pooling.pool(rows.rows(slice(0, cut))), pooling.pool(rows.rows(slice(cut, None)))
    )
    np.testing.assert_allclose(
        pooling.pool(parts).features, pooling.pool(rows).features, atol=1e-9, equal_nan=True
    )


@given(subcoolings)
def test_the_last_trailing_row_over_everything_is_the_pool(
    values: list[tuple[float, float]],
) -> None:
    rows = _rows(values)
    last = pooling.trailing(rows, 1e9).features[-1:]
    np.testing.assert_allclose(last, pooling.pool(rows).features, atol=1e-6, equal_nan=True)


def test_trailing_forgets_rows_older_than_its_span() -> None:
    rows = joined(windows(4, subcooling_to_indoor_k=0.0), windows(4, 4, subcooling_to_indoor_k=8.0))
    trailing = pooling.trailing(rows, 3600.0).column("subcooling_to_indoor_k")
    np.testing.assert_allclose(trailing, [0, 0, 0, 0, 2, 4, 6, 8])


def test_a_feature_that_nobody_measured_stays_unknown_beside_measured_ones() -> None:
    rows = joined(windows(1, suction_superheat_k=np.nan), windows(1, 1, suction_superheat_k=7.0))
    assert pooling.pool(rows).features[0, INDEX["suction_superheat_k"]] == 7.0


def test_days_are_cut_at_utc_midnight() -> None:
    rows = joined(
        windows(96, subcooling_to_indoor_k=3.0), windows(10, 96, subcooling_to_indoor_k=6.0)
    )
    days = pooling.daily(rows)
    assert [str(day)[:10] for day in days.start] == ["2026-03-02", "2026-03-03"]
    np.testing.assert_allclose(days.column("subcooling_to_indoor_k"), [3.0, 6.0])
    np.testing.assert_allclose(days.column("logged_s"), [86_400.0, 9_000.0])


def test_no_rows_pool_to_no_row() -> None:
    assert len(pooling.pool(empty())) == 0
    assert len(pooling.daily(empty())) == 0
    assert len(pooling.trailing(empty(), 60.0)) == 0


@pytest.mark.parametrize(("seconds", "known"), [(0.2, False), (0.45, False), (0.55, True)])
def test_less_than_a_second_is_nothing(seconds: float, known: bool) -> None:
    """In two windows, and in one of twice that."""
    two = pooling.pool(windows(2, subcooling_to_indoor_k=4.0, to_indoor_s=seconds))
    one = pooling.pool(windows(1, subcooling_to_indoor_k=4.0, to_indoor_s=2 * seconds))
    for pooled in (two, one):
        assert np.isfinite(pooled.column("subcooling_to_indoor_k")[0]) == known
        assert pooled.column("to_indoor_s")[0] == 2 * seconds
