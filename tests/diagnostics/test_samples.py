"""Samples and windows refuse what does not belong together, and are cut at a start that counts."""

from __future__ import annotations

import numpy as np
import pytest

from diagnostics.samples import Samples, SamplesError
from diagnostics.windows import WINDOW_S
from tests.diagnostics.record import instants
from tests.diagnostics.rows import START as FIRST_WINDOW
from tests.diagnostics.rows import windows

SECOND = np.timedelta64(1, "s")


def _three(**outdoor: np.ndarray) -> Samples:
    return Samples(instants(np.array([0.0, 10.0, 25.0])), outdoor, {})


def test_time_that_stands_still_or_runs_back_is_refused() -> None:
    for seconds in ([0.0, 10.0, 10.0], [0.0, 20.0, 10.0]):
        with pytest.raises(SamplesError, match="ascending"):
            Samples(instants(np.array(seconds)), {}, {})
    with pytest.raises(SamplesError, match="ascending"):
        Samples(instants(np.array([10.0, 0.0])), {}, {})


def test_one_instant_or_none_is_in_order() -> None:
    assert len(Samples(instants(np.array([5.0])), {}, {})) == 1
    assert Samples(instants(np.array([])), {}, {}).seconds().size == 0


def test_a_channel_that_is_not_known_is_named() -> None:
    with pytest.raises(SamplesError, match="'discharge' is no outdoor channel"):
        _three(discharge=np.zeros(3))
    with pytest.raises(SamplesError, match="'discharge_pressure' is no indoor channel"):
        Samples(instants(np.arange(3.0)), {}, {"discharge_pressure": np.zeros((1, 3))})


def test_an_array_of_another_length_is_named_with_both_shapes() -> None:
    with pytest.raises(SamplesError, match=r"discharge_pressure: shape \(2,\), expected \(3,\)"):
        _three(discharge_pressure=np.zeros(2))
    for wrong in (np.zeros(3), np.zeros((3, 2)), np.zeros((1, 3, 1))):
        with pytest.raises(SamplesError, match=r"valve: shape .*, expected \(units, 3\)"):
            Samples(instants(np.arange(3.0)), {}, {"valve": wrong})


def test_seconds_count_from_the_first_sample() -> None:
    assert _three().seconds().tolist() == [0.0, 10.0, 25.0]


def test_a_cut_takes_its_start_and_leaves_its_end() -> None:
    whole = Samples(
        instants(np.array([0.0, 10.0, 25.0])),
        {"discharge_pressure": np.array([1.0, 2.0, 3.0])},
        {"valve": np.array([[0.1, 0.2, 0.3], [0.4, 0.5, 0.6]])},
    )
    cut = whole.between(whole.time[1], whole.time[2])
    assert cut.time.tolist() == whole.time[1:2].tolist()
    assert cut.outdoor["discharge_pressure"].tolist() == [2.0]
    assert cut.indoor["valve"].tolist() == [[0.2], [0.5]]


def test_what_was_never_logged_is_missing_for_every_unit() -> None:
    samples = _three(discharge_pressure=np.array([1.0, 2.0, 3.0]))
    assert samples.outdoor_or_nan("discharge_pressure").tolist() == [1.0, 2.0, 3.0]
    assert np.isnan(samples.outdoor_or_nan("suction_pressure")).tolist() == [True] * 3
    assert np.isnan(samples.indoor_or_nan("valve", 2)).tolist() == [[True] * 3] * 2


def test_windows_between_two_times_begin_with_the_first_and_end_before_the_second() -> None:
    quarter = np.timedelta64(WINDOW_S, "s")
    cut = windows(6).between(FIRST_WINDOW + quarter, FIRST_WINDOW + 3 * quarter)
    assert ((cut.start - FIRST_WINDOW) / SECOND).tolist() == [900.0, 1800.0]
