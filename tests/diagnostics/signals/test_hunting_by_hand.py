"""The measures behind hunting, against sums done by hand and plain convolution."""

from __future__ import annotations

import numpy as np
import pytest

from diagnostics.samples import FloatArray
from diagnostics.signals import hunting, timebase
from diagnostics.signals.hunting import _Blocks
from tests.diagnostics import made, record
from tests.diagnostics.record import START


def blocks(steps: int = 60, slow: int = 12, margin: int = 9) -> _Blocks:
    """One block of ten minutes in steps of ten seconds; the instants of its grid."""
    wide = slow + margin
    grid = (np.arange(-wide, steps + wide) + 0.5) * 10.0
    return _Blocks(np.array([START]), np.zeros(1, np.intp), 10.0, slow, margin, grid[None])


def sine(length: int, period: float, phase: float = 0.0) -> FloatArray:
    """One row; period in steps."""
    return np.sin(2 * np.pi * (np.arange(length) - phase) / period)[None]


def test_a_swing_leaves_the_outer_twentieth_out_on_either_side() -> None:
    """Of 101 values the sixth lowest and the sixth highest: 5 and 95."""
    values = np.arange(101.0)[None]
    assert hunting._swing(np.random.default_rng(1).permuted(values, axis=1)) == pytest.approx(90.0)
    # A twentieth of the 109 steps between 110 values is 5.45: the sixth from either end.
    assert hunting._swing(np.arange(110.0)[None]) == pytest.approx(99.0)


def test_reversals_are_crossings_of_the_middle() -> None:
    rows = np.array([[0.0, 10, 0, 10, 10, 0], [0.0, 4, 0, 4, 10, 10], [3.0, 3, 3, 3, 3, 3]])
    assert hunting._reversals(rows).tolist() == [4, 1, 0]


def test_a_moving_mean_is_a_convolution() -> None:
    values = np.random.default_rng(2).normal(size=(1, 40))
    expected = np.convolve(values[0], np.ones(7) / 7, "valid")
    assert hunting._moving_mean(values, 7)[0] == pytest.approx(expected)


def test_a_ramp_has_no_fast_part_and_a_quick_swing_keeps_its_own() -> None:
    one, length = blocks(), blocks().grid_s.shape[1]
    ramp = 300.0 + 0.05 * np.arange(length)[None]
    assert hunting._fast(ramp, one) == pytest.approx(np.zeros((1, length - 24)), abs=1e-9)
    # A mean over 25 steps holds five whole periods of 5 steps, and so nothing of them.
    swing = sine(length, 5.0)
    assert hunting._fast(swing, one) == pytest.approx(swing[:, 12:-12], abs=1e-9)


def test_a_block_is_cut_at_the_utc_minute_with_the_moving_mean_beside_it() -> None:
    """240 s of moving mean and 180 s of local spread reach half as far: 12 and 9 steps of 10 s."""
    samples = record.running(120)
    cut = hunting._cut(samples, timebase.of(samples))
    assert (cut.slow, cut.margin, cut.step_s) == (12, 9, 10.0)
    assert cut.start.tolist() == [START.item(), (START + np.timedelta64(600, "s")).item()]
    assert cut.row.tolist() == [0] * 60 + [1] * 60
    assert cut.grid_s[0] == pytest.approx(blocks().grid_s[0])
    assert cut.grid_s[1] == pytest.approx(blocks().grid_s[0] + 600.0)


@pytest.mark.parametrize(("interval_s", "step_s"), [(1.0, 5.0), (7.0, 600 / 85), (30.0, 30.0)])
def test_steps_are_whole_parts_of_a_block_and_no_finer_than_needed(
    interval_s: float, step_s: float
) -> None:
    samples = record.running(100, interval_s)
    assert hunting._cut(samples, timebase.of(samples)).step_s == pytest.approx(step_s)


def test_a_grid_holds_the_line_between_neighbours_and_counts_those_near_by() -> None:
    """Samples at 0, 10, …, 290 s; the grid at 5, 15, …, 595 s: up to 295 s one is within 10 s."""
    samples = record.running(30)
    seconds = np.arange(30) * 10.0
    cut = hunting._cut(samples, timebase.of(samples))
    values, share = hunting._resample(cut, timebase.of(samples), 2.0 * seconds, np.ones(30, bool))
    inside = values[0, 21:81]
    assert inside[:29] == pytest.approx(2.0 * (5.0 + 10.0 * np.arange(29)))
    assert inside[29:] == pytest.approx(np.full(31, 580.0))
    assert share == pytest.approx([30 / 60])
    values, share = hunting._resample(cut, timebase.of(samples), seconds, np.zeros(30, bool))
    assert (values.any(), share.tolist()) == (False, [0.0])


def test_a_swing_in_half_of_a_block_fills_half_of_it() -> None:
    one = blocks()
    length = one.grid_s.shape[1] - 2 * one.slow
    values = np.where(np.arange(length) < length // 2, sine(length, 6.0), 0.0)
    assert hunting._share(values, one, np.array([False])) == pytest.approx([0.5], abs=0.08)
    assert hunting._share(sine(length, 6.0), one, np.array([False])) == pytest.approx([1.0])


def test_a_band_keeps_the_cycle_itself_and_drops_faster_and_slower_ones() -> None:
    """0.6 to 1.7 times the frequency of a period of 10 steps, in 60 steps: 4 to 10 cycles."""
    period = np.array([10.0])
    cycle = sine(60, 10.0)
    rest = 2.0 + sine(60, 20.0) + sine(60, 60 / 11)
    assert hunting._band(cycle + rest, period) == pytest.approx(cycle, abs=1e-9)
    for inside in (4, 10):
        edge = sine(60, 60 / inside)
        assert hunting._band(edge, period) == pytest.approx(edge, abs=1e-9)
    assert hunting._band(cycle, np.array([np.nan])) == pytest.approx(np.zeros((1, 60)), abs=1e-9)


@pytest.mark.parametrize(
    ("lag", "follows"), [(0, 1.0), (2, 1.0), (6, 1.0), (8, 0.5), (9, 0.0), (10, 0.5)]
)
def test_liquid_may_follow_up_to_half_a_period_later(lag: int, follows: float) -> None:
    """A cycle of 12 steps: of a lag of 8 two steps are missing to 6, and cos 60 degrees is left;
    a lag of 10 is two steps before the next cycle."""
    length = 1200
    found = hunting._follow(sine(length, 12.0), -sine(length, 12.0, lag), np.array([12.0]))
    assert found == pytest.approx([follows], abs=0.015)


def test_liquid_that_warms_with_the_opening_does_not_follow_at_once() -> None:
    noise = np.random.default_rng(3).normal(size=(1, 600))
    quick = np.array([4.0])
    assert hunting._follow(noise, -noise, quick) == pytest.approx([1.0], abs=1e-6)
    assert hunting._follow(noise, noise, quick) < 0.2


def test_a_thermistor_that_repeats_sets_the_pace_and_a_resting_valve_does_not() -> None:
    scene = made.scene(720)
    rng = np.random.default_rng(4)
    outdoor = dict(scene.samples.outdoor)
    for name, every in (("indoor", 3), ("outdoor", 1)):
        fresh = 300.0 + rng.normal(size=720)
        outdoor[f"liquid_temperature_{name}_side"] = fresh[np.arange(720) // every * every]
    samples = type(scene.samples)(scene.samples.time, outdoor, {})
    assert hunting._refreshed_s(samples, scene.timebase) == 30.0


LENGTH = blocks().grid_s.shape[1]


def judged(opening: FloatArray, liquid: FloatArray) -> tuple[bool, bool, dict[str, float]]:
    """Whether one block hunts, whether its liquid does not answer, and what was measured."""
    found, unanswered, measures = hunting._judge(opening, liquid, blocks())
    return bool(found[0]), bool(unanswered[0]), {k: float(v[0]) for k, v in measures.items()}


def cycle(swing: float, period: float = 11.0, lag: float = 0.0) -> FloatArray:
    """A sine on the full grid, ``swing`` peak to peak."""
    return swing / 2 * sine(LENGTH, period, lag)


@pytest.mark.parametrize(("swing", "hunts"), [(0.0195, False), (0.0215, True)])
def test_an_opening_moves_by_more_than_a_stepper_s_hysteresis(swing: float, hunts: bool) -> None:
    """Two per cent are 9.6 pulses of 480."""
    assert judged(0.4 + cycle(swing), 300.0 - cycle(3.0, lag=2))[0] == hunts


@pytest.mark.parametrize(
    ("swing_k", "hunts", "unanswered"),
    [(0.25, False, True), (0.38, False, False), (0.55, True, False), (1.5, True, False)],
)
def test_liquid_answers_a_regular_cycle_from_four_tenths_of_a_kelvin(
    swing_k: float, hunts: bool, unanswered: bool
) -> None:
    """Below 0.3 K it does not answer at all; the moving mean takes a ninth of a swing away."""
    found, silent, measures = judged(0.4 + cycle(0.1), 300.0 - cycle(swing_k, lag=2))
    assert measures["liquid_swing_k"] == pytest.approx(8 / 9 * swing_k, rel=0.02)
    assert (found, silent) == (hunts, unanswered)


@pytest.mark.parametrize(("swing", "unanswered"), [(0.075, False), (0.09, True)])
def test_liquid_must_answer_an_opening_that_swings_by_eight_per_cent(
    swing: float, unanswered: bool
) -> None:
    assert judged(0.4 + cycle(swing), 300.0 - cycle(0.2, lag=2))[:2] == (False, unanswered)


def test_what_is_measured_of_a_cycle() -> None:
    """A sine's 5th and 95th percentile lie at cos 9 degrees of its peak."""
    found, _, measures = judged(0.4 + cycle(0.1), 300.0 - cycle(3.0, lag=2))
    assert found
    assert measures["period_s"] == pytest.approx(110.0, rel=0.01)
    assert measures["opening_swing"] == pytest.approx(0.1 * np.cos(np.pi / 20), rel=0.02)
    assert measures["mean_opening"] == pytest.approx(0.4, abs=0.003)


def thrown(edges: tuple[int, ...], swing: float = 0.1) -> FloatArray:
    """A valve thrown between two openings at these steps of the block."""
    at = np.arange(LENGTH) - 21
    return 0.3 + swing * (np.searchsorted(edges, at, side="right") % 2)[None].astype(float)


IRREGULAR = (8, 18, 21, 24, 30, 37, 40, 51)
BEFORE, AFTER = (-18, -11, -6), (64, 68, 77)


@pytest.mark.parametrize(
    ("throws", "fall_k", "hunts"),
    [(IRREGULAR, 4.2, True), (IRREGULAR, 3.8, False), (IRREGULAR[:-1], 5.0, False)],
)
def test_irregular_throws_hunt_when_the_liquid_swings_by_four_kelvin(
    throws: tuple[int, ...], fall_k: float, hunts: bool
) -> None:
    """Four throws there and back, the liquid a step behind; seven are not enough."""
    opening = thrown(BEFORE + throws + AFTER)
    liquid = 300.0 - fall_k / 0.12 * np.roll(opening - 0.3, 1, axis=1)
    found, _, measures = judged(opening, liquid)
    assert measures["regularity"] < 0.9
    assert found == hunts


@pytest.mark.parametrize("period", [6.0, 11.0, 16.0])
@pytest.mark.parametrize("begin", [0, 16])
@pytest.mark.parametrize(("filled", "hunts"), [(26, False), (32, True), (40, True)])
def test_a_cycle_must_fill_half_of_its_block(
    period: float, begin: int, filled: int, hunts: bool
) -> None:
    """Steps of sixty in which the valve swings; it rests before and after."""
    at = np.arange(LENGTH) - 21
    wave = np.where((at >= begin) & (at < begin + filled), cycle(0.1, period), 0.0)
    found = judged(0.4 + wave, 300.0 - 40.0 * np.roll(wave, 1, axis=1))[0]
    assert found == hunts


@pytest.mark.parametrize(("period", "slow"), [(11.0, False), (19.0, True)])
def test_a_steady_cycle_spreads_alike_over_each_of_its_periods(period: float, slow: bool) -> None:
    """Over a hundred seconds, eleven steps; over 180 s, nineteen steps, of a slow one. At half of
    its deviation over a period, which is all there is elsewhere, a stretch still counts."""
    one = blocks()
    length = one.grid_s.shape[1] - 2 * one.slow
    at, of = np.arange(length) - 9, np.array([slow])
    assert hunting._share(sine(length, period), one, of) == pytest.approx([1.0])
    for part, share in ((0.55, 1.0), (0.45, 0.5)):
        wave = np.where(at < 30, 1.0, part) * sine(length, period)
        assert hunting._share(wave, one, of) == pytest.approx([share], abs=0.12)


@pytest.mark.parametrize(("period", "follows"), [(11.0, True), (16.0, False)])
def test_liquid_with_a_period_of_its_own_is_not_the_valve_s(period: float, follows: bool) -> None:
    """Half as long again, it neither keeps step with the opening nor lies in its band alone."""
    assert judged(0.4 + cycle(0.1), 300.0 - cycle(1.2, period, 2))[0] == follows


@pytest.mark.parametrize(
    ("period", "swing_k", "hunts"),
    [
        # Nine intervals between crossings in ten minutes: 0.4 K that keep step are enough.
        (11.0, 0.45, True),
        # Eight, and five: 0.6 K.
        (12.0, 0.50, False),
        (12.0, 0.62, True),
        (17.0, 0.58, False),
        (17.0, 0.64, True),
        # Four, and three: 1 K. With two nobody can tell a cycle from two strokes.
        (22.0, 0.95, False),
        (22.0, 1.05, True),
        (28.0, 0.95, False),
        (28.0, 1.08, True),
        (32.0, 3.00, False),
    ],
)
def test_the_fewer_strokes_are_seen_the_more_the_liquid_must_swing(
    period: float, swing_k: float, hunts: bool
) -> None:
    one = judged(0.4 + cycle(0.1, period), 300.0 - cycle(1.0, period, 2))[2]["liquid_swing_k"]
    liquid = 300.0 - cycle(swing_k / one, period, 2)
    found, _, measures = judged(0.4 + cycle(0.1, period), liquid)
    assert measures["liquid_swing_k"] == pytest.approx(swing_k)
    assert found == hunts


def test_a_moving_condenser_does_not_hide_a_fast_cycle_that_the_liquid_follows() -> None:
    """A swing of 3 K every 250 s beside a cycle of 80 s: in the cycle's own band it follows."""
    fans = cycle(3.0, 25.0)
    found, _, measures = judged(0.4 + cycle(0.1, 8.0), 300.0 + fans - cycle(1.0, 8.0, 1))
    assert measures["liquid_swing_k"] > 2.0
    assert found
    assert not judged(0.4 + cycle(0.1, 8.0), 300.0 + fans)[0]
    assert not judged(0.4 + cycle(0.1, 8.0), 300.0 + fans + cycle(1.0, 8.0))[0]


@pytest.mark.parametrize(("share", "hunts"), [(0.3, True), (0.5, False), (1.0, False)])
def test_six_tenths_of_the_leaving_swing_must_be_the_subcooler_s_own(
    share: float, hunts: bool
) -> None:
    """Liquid that enters with this share of the swing, in step with what leaves."""
    wave = np.sin(2 * np.pi * np.arange(180) / 11.0)
    outdoor = {
        "subcooler_valve": 0.4 + 0.05 * wave,
        "liquid_temperature_indoor_side": 298.15 - 1.5 * wave,
        "liquid_temperature_outdoor_side": 312.15 - share * 1.5 * wave,
    }
    s = made.scene(180, outdoor=outdoor)
    found = hunting.detect(s.samples, s.timebase, s.states, s.direction, s.plant)
    assert found.judged.all()
    assert found.hunting.tolist() == [hunts] * 3


def logged(interval_s: float, period_s: float, swing: float, n: int) -> hunting.Hunting:
    """A cycle as it is read every ``interval_s``."""
    wave = np.sin(2 * np.pi * np.arange(n) * interval_s / period_s)
    outdoor = {
        "subcooler_valve": 0.4 + swing / 2 * wave,
        "liquid_temperature_indoor_side": 298.15 - 15 * swing * wave,
    }
    s = made.scene(n, interval_s, outdoor=outdoor)
    return hunting.detect(s.samples, s.timebase, s.states, s.direction, s.plant)


@pytest.mark.parametrize(("interval_s", "judged"), [(15.0, True), (15.5, False)])
def test_quiet_is_said_with_four_readings_in_the_shortest_period(
    interval_s: float, judged: bool
) -> None:
    """A period of a minute read every quarter of a minute."""
    found = logged(interval_s, 100.0, 0.0, 120)
    assert (found.judged[1:-1] == judged).all()
    assert (found.per_sample[60:70] == (0 if judged else -1)).all()
    assert found.interval_s == interval_s


@pytest.mark.parametrize(("interval_s", "told"), [(58.0, True), (60.0, False)])
def test_from_a_minute_on_nothing_is_told(interval_s: float, told: bool) -> None:
    found = logged(interval_s, 280.0, 0.2, 100)
    assert found.hunting[2:-2].any() == told


@pytest.mark.parametrize(("missing", "told"), [(16, True), (22, False)])
def test_seven_tenths_of_a_block_are_enough(missing: int, told: bool) -> None:
    """Sixty steps of a block; each within an interval of the last reading is seen as well."""
    s = made.scene(180)
    keep = (np.arange(180) < 80) | (np.arange(180) >= 80 + missing)
    samples = type(s.samples)(
        s.samples.time[keep], {k: v[keep] for k, v in s.samples.outdoor.items()}, {}
    )
    cut = made.of(samples, made.states(len(samples)), plant=s.plant)
    found = hunting.detect(samples, cut.timebase, cut.states, cut.direction, cut.plant)
    assert found.judged.tolist() == [True, told, True]
