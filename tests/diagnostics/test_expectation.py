"""A system's own past, against sums done by hand."""

from __future__ import annotations

import numpy as np
import pytest

from diagnostics import expectation
from diagnostics.windows import INDEX, Windows
from tests.diagnostics.rows import START, windows

DAY = np.timedelta64(1, "D")


def days(count: int, **columns: np.ndarray) -> Windows:
    """One row a day, healthy but for the columns given."""
    table = windows(count, to_indoor_s=9000.0).features.copy()
    for name, values in columns.items():
        table[:, INDEX[name]] = values
    return Windows(START + np.arange(count) * DAY, table)


def by_turns(count: int, height: float) -> np.ndarray:
    return height * (-1.0) ** np.arange(count)


@pytest.mark.parametrize(("off_k", "noise_k"), [(0.0, 0.24), (1.0, 0.93), (2.0, 1.82)])
def test_noise_is_learned_from_the_days_and_six_usual_ones(off_k: float, noise_k: float) -> None:
    """Twenty days by turns above and below 5 K: v = (6 * 0.25 + 20 off^2 + v) / 26, where the last
    v is what one fitted mean hides; so v = (1.5 + 20 off^2) / 25."""
    learned = expectation.learn(days(20, subcooling_to_indoor_k=5.0 + by_turns(20, off_k)))
    assert learned is not None
    assert learned.noise_k == pytest.approx(np.sqrt((1.5 + 20 * off_k**2) / 25), rel=0.01)
    assert learned.noise_k == pytest.approx(noise_k, abs=0.03)


def test_more_days_make_a_surer_line_and_far_weather_a_wider_one() -> None:
    """Of n days with noise s a mean is sure to s / sqrt(n); a week's pool has s / sqrt(3) more."""
    short, long = (expectation.learn(days(n)) for n in (4, 21))
    assert short is not None
    assert long is not None
    near = windows(1)
    for learned, count in ((short, 4), (long, 21)):
        sigma = learned.predict(near)[1][0]
        own = np.sqrt(1 / count + 1 / 3) * learned.noise_k
        assert sigma == pytest.approx(own, rel=0.35)
        far = learned.predict(windows(1, air_to_indoor_k=320.0))[1][0]
        assert far > 1.3 * sigma
    assert long.predict(near)[1][0] < short.predict(near)[1][0]


def test_a_slope_on_the_weather_and_the_load_is_learned() -> None:
    """0.1 K per K of air and 4 K from no load to full, without noise."""
    air = 293.15 + np.linspace(-15.0, 15.0, 21)
    load = 0.5 + 0.3 * by_turns(21, 1.0)
    level = 6.0 + 0.1 * (air - 293.15) + 4.0 * (load - 0.5)
    past = days(21, air_to_indoor_k=air, load_to_indoor=load, subcooling_to_indoor_k=level)
    learned = expectation.learn(past)
    assert learned is not None
    assert learned.mean[:3] == pytest.approx([6.0, 0.1, 4.0], abs=0.1)
    expected, _ = learned.predict(windows(1, air_to_indoor_k=303.15, load_to_indoor=0.7))
    assert expected == pytest.approx([6.0 + 1.0 + 0.8], abs=0.15)


def test_four_usable_days_are_the_fewest_and_three_weeks_the_most() -> None:
    assert expectation.learn(days(3)) is None
    shortest = expectation.learn(days(4))
    assert shortest is not None
    assert (shortest.days, shortest.until) == (4, np.datetime64("2026-03-05"))
    longest = expectation.learn(days(40))
    assert longest is not None
    assert (longest.days, longest.until) == (21, np.datetime64("2026-03-22"))


def test_a_day_is_usable_from_half_an_hour_of_steady_operation() -> None:
    rows = days(
        4,
        to_indoor_s=np.array([1799.0, 1800.0, 9000.0, np.nan]),
        subcooling_to_indoor_k=np.array([5.0, 5.0, np.nan, 5.0]),
    )
    assert expectation.usable(rows).tolist() == [False, True, False, False]


def test_what_is_not_logged_counts_as_usual() -> None:
    bare = days(
        2,
        air_to_indoor_k=np.full(2, np.nan),
        load_to_indoor=np.full(2, np.nan),
        running_s=np.array([np.nan, 900.0]),
        simultaneous_s=np.array([np.nan, 2000.0]),
    )
    expected = [[1.0, 0.0, 0.0, 0.0], [1.0, 0.0, 0.0, 1.0]]
    np.testing.assert_array_equal(expectation.design(bare), expected)
