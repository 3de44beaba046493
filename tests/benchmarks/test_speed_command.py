"""The one command on speed: it measures, and says by its exit status whether a bar is missed."""

from __future__ import annotations

import math
import subprocess
import sys
from collections.abc import Iterator, Sequence

import numpy as np
import pytest

from tests.benchmarks import __main__ as command
from tests.benchmarks.speed import analyse, bars, practitioner
from tests.benchmarks.speed.bars import Figure, Run
from tests.embedded.harness import REPOSITORY


def told(value: float, *, at_least: bool = False) -> Figure:
    return Figure("something", "s", value, value, value, 1.0, at_least)


@pytest.mark.parametrize(
    ("figure", "met"),
    [
        (told(0.9), True),
        (told(1.1), False),
        (told(1.1, at_least=True), True),
        (told(0.9, at_least=True), False),
        (told(math.nan), False),
        (told(math.nan, at_least=True), False),
    ],
)
def test_a_bar_is_the_most_or_the_least_and_no_number_keeps_none(figure: Figure, met: bool) -> None:
    assert figure.met is met
    assert ("NOT MET" in str(figure)) is not met


def test_a_figure_reaches_another_process_as_it_was() -> None:
    figure = bars.of("µ", "times", [1.0, 2.0, 4.0], 3.0, at_least=True, note="in pairs")
    assert (figure.low, figure.value, figure.high) == (1.5, 2.0, 3.0)
    assert Figure.from_line(figure.as_line()) == figure


def status(monkeypatch: pytest.MonkeyPatch, *figures: Figure) -> int:
    def measured(part: str, options: Sequence[str]) -> Iterator[Figure]:
        assert part == "late"
        yield from figures

    monkeypatch.setattr(command, "figures", measured)
    return command.main(["late"])


def test_one_missed_bar_of_many_makes_the_exit_status_1(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    assert status(monkeypatch, told(0.5), told(0.7)) == 0
    assert status(monkeypatch, told(0.5), told(2.0), told(0.7)) == 1
    assert "NOT MET" in capsys.readouterr().out


def test_a_part_that_dies_makes_the_exit_status_1(
    monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(command, "PARTS", ("nosuch",))
    assert command.main(["nosuch"]) == 1
    assert "FAILED with exit status 1" in capfd.readouterr().out


def test_an_unknown_part_is_named_with_those_there_are(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as stopped:
        command.main(["analyze"])
    assert stopped.value.code == 2
    assert "no part 'analyze': choose from analyse, ingest, late" in capsys.readouterr().err


def test_the_command_measures_a_part_and_says_so_by_its_exit_status() -> None:
    outcome = subprocess.run(
        [sys.executable, "-m", "tests.benchmarks", "late", "--quick", "--by", "cpu"],
        cwd=REPOSITORY, capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert outcome.returncode == 0, outcome.stdout + outcome.stderr
    assert "late at noon: days analysed" in outcome.stdout
    assert "0 missed, 4 asked" in outcome.stdout


def test_the_peer_sees_what_the_method_sees_where_nothing_is_wrong() -> None:
    samples, plant = analyse.simulated(1)
    rows = practitioner.diagnose(practitioner.table(samples).iloc[::6], "R-410A")
    ours = analyse.by_days(samples, plant)
    steady = ours.steady & (ours.direction > 0)
    assert np.nanmedian(rows["subcooling_k"][rows["direction"] > 0.99]) == pytest.approx(
        float(np.nanmedian(ours.subcooling_k[steady])), abs=1.0
    )


def test_a_moved_record_is_later_noisy_and_keeps_its_codes() -> None:
    samples, _ = analyse.simulated(1)
    later = analyse.moved(samples, 3, np.random.default_rng(1))
    assert later.time[0] - samples.time[0] == np.timedelta64(3, "D")
    assert np.array_equal(later.indoor["call"], samples.indoor["call"], equal_nan=True)
    off_k = later.outdoor["discharge_temperature"] - samples.outdoor["discharge_temperature"]
    assert 0 < np.nanmax(np.abs(off_k)) < 0.05


def test_a_quick_run_takes_its_small_sizes() -> None:
    assert (Run().size(10, 2), Run(quick=True).size(10, 2)) == (10, 2)
