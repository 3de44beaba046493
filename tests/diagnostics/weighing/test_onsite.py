"""What own instruments would show: physics and the trade's instruments, not the numbers again."""

from __future__ import annotations

import numpy as np
import pytest

from diagnostics.findings import Measured
from diagnostics.weighing import settling, weigh
from diagnostics.weighing.onsite import READINGS, Off, Reading

TABLE = weigh.table()
NOTHING = tuple(
    Measured(*(np.full(1, np.nan) for _ in range(3)), np.zeros(1)) for _ in settling._PLACES
)
BY_START = {reading.do: reading for reading in READINGS}


def reading(words: str) -> Reading:
    return next(each for do, each in BY_START.items() if words in do)


def off_by(words: str, hypothesis: str) -> float:
    """Mean by which the logged reading is off."""
    mean, _ = settling._reading(reading(words), NOTHING, TABLE)
    return float(mean[TABLE.hypotheses.index(hypothesis)])


@pytest.mark.parametrize(
    ("words", "stem"),
    [
        ("logged discharge pressure", "discharge_pressure"),
        ("logged suction pressure", "suction_pressure"),
        ("outdoor-side liquid thermistor", "outdoor_side_thermistor"),
        ("indoor-side liquid thermistor", "indoor_side_thermistor"),
        ("discharge thermistor", "discharge_thermistor"),
        ("suction thermistor", "suction_thermistor"),
    ],
)
def test_what_reads_high_stands_above_an_own_instrument_and_what_reads_low_below(
    words: str, stem: str
) -> None:
    assert off_by(words, f"{stem}_reads_high") > 0.5
    assert off_by(words, f"{stem}_reads_low") < -0.5


def in_the_wrong_place(words: str, hypothesis: str) -> int:
    """+1 where the thermistor then reads too warm, -1 too cold.

    Off its pipe it reads towards the air: below liquid and hot gas, above suction gas. Misplaced
    along the liquid line it sits behind some of the cooling. In cooling the outdoor side is the
    warmer of the two liquids, and suction gas is colder than either.
    """
    if words.startswith("suction"):
        return 1
    if hypothesis == "liquid_thermistors_swapped":
        return 1 if words.startswith("indoor") else -1
    return -1


@pytest.mark.parametrize(
    "words",
    [
        "outdoor-side liquid thermistor",
        "indoor-side liquid thermistor",
        "discharge thermistor",
        "suction thermistor",
    ],
)
def test_a_thermistor_in_the_wrong_place_reads_what_is_there(words: str) -> None:
    misplaced = [name for name in reading(words).off if not name.endswith(("_high", "_low"))]
    assert misplaced
    for name in misplaced:
        assert in_the_wrong_place(words, name) * off_by(words, name) > 0.5, name


def test_a_sound_reading_agrees_with_an_own_instrument() -> None:
    for each in READINGS:
        if each.off:
            mean, spread = settling._reading(each, NOTHING, TABLE)
            sound = [i for i, name in enumerate(TABLE.hypotheses) if name not in each.off]
            assert mean[sound].tolist() == [0.0] * len(sound)
            assert spread[sound] == pytest.approx(np.full(len(sound), each.sigma))


def test_a_reading_is_off_by_as_much_as_the_finding_it_spoils() -> None:
    for each in READINGS:
        for hypothesis, off in each.off.items():
            entry = TABLE.likelihoods[off.finding]
            expected = abs(entry.mean[TABLE.hypotheses.index(hypothesis)])
            assert abs(off_by(each.do, hypothesis)) == pytest.approx(expected), (each.do, off)
    assert Off("suction_superheat").sign == 1.0


def test_instruments_are_those_of_the_trade() -> None:
    """Common practice, no source: clamps good to 1 to 2 K (rectangular, so 0.6 to 1.2 K), gauges
    to 0.5 to 1 % of 2 to 4 MPa (10 to 40 kPa, half of it), shares read to a few per cent. Of two
    clamps of one make the difference is surer than either; on a hot pipe one is less sure."""
    for each in READINGS:
        low, high = {
            "K": (0.3, 1.2),
            "kPa": (5.0, 25.0),
            "share": (0.02, 0.3),
            "ratio": (0.1, 0.4),
        }[each.unit]
        hot = 2.0 if "discharge" in each.do and each.unit == "K" else 1.0
        assert low <= each.sigma <= hot * high, each.do


def test_only_a_restriction_makes_a_step_along_the_liquid_line() -> None:
    """A free line keeps its temperature but for some tenths; where liquid flashes, it falls by
    kelvins: 0.1 MPa of loss is 1.6 K at saturation (R-410A at 2.5 MPa). Not all flash."""
    own = reading("each strainer").own
    mean, spread = settling._reading(reading("each strainer"), NOTHING, TABLE)
    step = dict(zip(TABLE.hypotheses, mean, strict=True))
    assert set(own) == {"normal", "flow_restriction"}
    assert {round(value, 9) for name, value in step.items() if name != "flow_restriction"} == {0.0}
    assert 1.0 < step["flow_restriction"] < own["flow_restriction"].mean
    assert own["flow_restriction"].mean > own["flow_restriction"].spread > own["normal"].spread > 0
    assert 0.3 < own["flow_restriction"].share < 0.9
    sharp = spread[TABLE.hypotheses.index("normal")]
    assert reading("each strainer").sigma < sharp < 1.0
