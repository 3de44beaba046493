"""The event's figure: the same samples, told apart by word, shape and side."""

from __future__ import annotations

import json
from dataclasses import replace
from typing import Any

import numpy as np
import plotly.graph_objects as go
from hypothesis import given, settings
from hypothesis import strategies as st

from diagnostics.samples import FloatArray
from fleet.pages.event.plot import charts
from fleet.pages.event.plot.series import EventSeries

STATE_NAMES = ("off", "cooling", "heating")
HOUR_MS = 3_600_000


def unlogged(n: int) -> dict[str, FloatArray]:
    """Every line of the plot without a value."""
    return {line.name: np.full(n, np.nan) for line in charts.LINES}


def series(n: int = 360) -> EventSeries:
    """An hour at 10 s: 20 minutes to indoor, 20 undetermined, 20 to outdoor."""
    third = n // 3
    direction = np.repeat(np.array([1, 0, -1], np.int8), third)
    upstream = np.where(direction != 0, 8.0, np.nan)
    start = np.datetime64("2026-03-03T12:00:00", "us")
    return EventSeries(
        time=start + np.arange(n) * np.timedelta64(10, "s"),
        offset_s=-12_600,
        clock="time at the site (America/St_Johns, UTC−3:30)",
        local_span_ms=(0, HOUR_MS),
        peak_local_ms=0,
        state=np.ones(n, np.int8),
        state_names=STATE_NAMES,
        direction=direction,
        hunting=np.zeros(n, np.int8),
        values={
            **unlogged(n),
            "upstream_outdoor_side": np.where(direction > 0, upstream, np.nan),
            "upstream_indoor_side": np.where(direction < 0, upstream, np.nan),
            "other": np.where(direction != 0, 14.0, np.nan),
            "valve": np.linspace(0.0, 100.0, n),
        },
        temperature_unit="°C",
        difference_unit="K",
        pressure_unit="kPa gauge",
    )


def drawn(figure: dict[str, Any], name: str) -> dict[str, Any]:
    (trace,) = (trace for trace in figure["data"] if trace["name"] == name)
    return trace


def test_plotly_knows_everything_that_the_figure_says() -> None:
    figure = charts.figure(series())
    checked = go.Figure(figure).to_plotly_json()  # an unknown property raises
    checked["layout"]["template"] = {}  # plotly puts its own where it finds an empty one
    assert json.dumps(checked, sort_keys=True) == json.dumps(figure, sort_keys=True)


def test_direction_is_told_by_word_pattern_and_colour_along_the_axis() -> None:
    figure = charts.figure(series())
    bands = {trace["name"]: trace for trace in figure["data"] if trace["type"] == "bar"}
    ways = [bands[word] for word in ("→ to indoor", "← to outdoor", "undetermined")]
    assert len({way["marker"]["pattern"]["shape"] for way in ways}) == 3
    assert len({way["marker"]["line"]["color"] for way in ways}) == 3
    noon_local = 12 * HOUR_MS - 12_600_000
    assert ways[0]["base"][0] % (24 * HOUR_MS) == noon_local
    assert ways[0]["x"] == [1_200_000]


def test_the_point_that_counts_has_its_symbol_and_the_other_side_is_thin() -> None:
    figure = charts.figure(series())
    outdoor = drawn(figure, "outdoor-side thermistor counts")
    indoor = drawn(figure, "indoor-side thermistor counts")
    other = drawn(figure, "other side (not used)")
    assert (outdoor["marker"]["symbol"], indoor["marker"]["symbol"]) == ("circle", "diamond")
    assert max(outdoor["marker"]["size"]) > 0
    assert other["line"]["width"] < outdoor["line"]["width"]
    assert "marker" not in other


def test_nothing_is_drawn_across_the_undetermined_middle() -> None:
    other = drawn(charts.figure(series()), "other side (not used)")
    assert other["y"].count(None) == 1
    assert other["x"][other["y"].index(None)] is None


def test_standing_still_has_no_direction_and_no_hunting() -> None:
    still = replace(series(), state=np.zeros(360, np.int8), hunting=np.full(360, -1, np.int8))
    assert not [trace for trace in charts.figure(still)["data"] if trace["type"] == "bar"]


def test_the_axis_says_whose_time_it_is() -> None:
    layout = charts.figure(series())["layout"]
    assert layout["xaxis"]["title"]["text"] == "time at the site (America/St_Johns, UTC−3:30)"
    titles = " ".join(note["text"] for note in layout["annotations"])
    assert "point that counts, K" in titles


def test_every_ink_is_one_the_style_sheet_names() -> None:
    inks = {trace["meta"]["ink"] for trace in charts.figure(series())["data"]}
    assert inks <= set(charts.INKS)


def test_the_figure_and_instants_are_plain_json() -> None:
    text = json.dumps([charts.figure(series()), charts.instants(series())], allow_nan=False)
    assert "NaN" not in text


def test_an_empty_span_gives_an_empty_figure() -> None:
    none = EventSeries(
        **{
            **vars(series()),
            "time": np.zeros(0, "datetime64[us]"),
            **{name: np.zeros(0, np.int8) for name in ("state", "direction", "hunting")},
            "values": {},
        }
    )
    assert charts.figure(none)["data"] == []
    assert charts.instants(none)["t"] == []


def test_instants_are_thinned_but_cover_the_span() -> None:
    found = charts.instants(series(), most=100)
    assert len(found["t"]) == 90
    assert found["t"][-1] - found["t"][0] > 0.95 * HOUR_MS


@settings(max_examples=60, deadline=None)
@given(codes=st.lists(st.sampled_from([-1, 0, 1]), min_size=2, max_size=400))
def test_blocks_cover_every_sample_once(codes: list[int]) -> None:
    ms = np.arange(len(codes), dtype=np.int64) * 10_000
    array = np.array(codes, np.int8)
    start, length, code = charts.blocks(ms, array)
    assert int(length.sum()) == 10_000 * len(codes)
    assert np.all(start[1:] == start[:-1] + length[:-1])
    assert np.all(code[1:] != code[:-1])


def test_a_gap_belongs_to_no_block() -> None:
    ms = np.array([0, 10, 20, 500, 510], np.int64) * 1000
    start, length, _ = charts.blocks(ms, np.ones(5, np.int8))
    assert start.tolist() == [0, 500_000]
    assert length.tolist() == [30_000, 20_000]


def test_more_turns_than_a_screen_shows_are_called_turning() -> None:
    n = 20_000
    many = replace(
        series(),
        time=np.datetime64("2026-03-03", "us") + np.arange(n) * np.timedelta64(10, "s"),
        state=np.ones(n, np.int8),
        direction=np.where(np.arange(n) % 2 == 0, 1, -1).astype(np.int8),
        hunting=np.zeros(n, np.int8),
        values=unlogged(n),
    )
    bars = {t["name"]: t for t in charts.figure(many)["data"] if t["type"] == "bar"}
    assert "turning often" in bars
    assert sum(len(trace["x"]) for trace in bars.values()) < charts.MOST_BLOCKS
