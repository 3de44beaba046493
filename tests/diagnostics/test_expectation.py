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


@pytest.mark.parametrize(
    ("name", "centre", "step", "prior_sd"),
    [
        ("air_to_indoor_k", 293.15, 2.0, 0.08),
        ("load_to_indoor", 0.5, 0.02, 8.0),
        ("simultaneous_s", 90.0, 24.0, 6.0),
    ],
)
def test_a_slope_on_few_days_is_held_back_by_how_steep_slopes_usually_are(
    name: str, centre: float, step: float, prior_sd: float
) -> None:
    """Four days by turns to either side: with n steps of x and noise s a slope b is learned as
    b n x^2 / s^2 over that and the prior's precision. Of 900 s 24 s are a share of 0.0267."""
    turns = by_turns(4, 1.0)
    x = step / 900.0 if name == "simultaneous_s" else step
    slope = 2.0 * prior_sd
    subcooling = 5.0 + slope * x * turns
    past = days(4, **{name: centre + step * turns, "subcooling_to_indoor_k": subcooling})
    learned = expectation.learn(past)
    assert learned is not None
    told = 4 * x**2 / learned.noise_k**2
    place = {"air_to_indoor_k": 1, "load_to_indoor": 2, "simultaneous_s": 3}[name]
    expected = slope * told / (told + prior_sd**-2.0)
    assert learned.mean[place] == pytest.approx(expected, rel=0.05)


def test_a_prediction_is_as_sure_as_its_line_and_a_third_of_a_day_s_noise() -> None:
    """Line good to 0.3 K and 0.02 K per K at 10 K: 0.36 K; noise 0.9 K over root 3 is 0.52 K."""
    base = expectation.Baseline(
        np.array([6.0, 0.1, 0.0, 2.0]), np.diag([0.09, 4e-4, 0.0, 0.0]), 21, 0.9
    )
    rows = windows(1, air_to_indoor_k=303.15, simultaneous_s=450.0)
    value, sigma = base.predict(rows)
    assert value == pytest.approx([6.0 + 1.0 + 1.0])
    assert sigma == pytest.approx([np.sqrt(0.09 + 0.04 + 0.27)])


def test_what_is_usual_of_any_system_grows_with_load_and_with_heat_given_off_indoors() -> None:
    """5 K in cooling in the middle of 2 to 8 K, 3.4 K from no load to full, 3 K from never to
    always cooling and heating at once; 10 K in heating, where three tenths of it is usual."""
    for load, both_s, cooling, heating in (
        (0.5, 0.0, 5.0, 9.1),
        (1.0, 0.0, 6.7, 9.1),
        (0.0, 0.0, 3.3, 9.1),
        (0.5, 270.0, 5.9, 10.0),
        (0.5, 900.0, 8.0, 12.1),
    ):
        rows = windows(1, load_to_indoor=load, simultaneous_s=both_s)
        assert expectation.usual_cooling_k(rows) == pytest.approx([cooling])
        assert expectation.usual_heating_k(rows) == pytest.approx([heating])


def test_nothing_is_known_of_the_noise_elsewhere_but_what_is_usual() -> None:
    base = expectation.Baseline(np.zeros(4), np.zeros((4, 4)), 5)
    assert base.noise_k == 0.5
    assert np.isnat(base.until)
