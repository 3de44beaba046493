"""The event's plot over time, as a plotly figure. It neither queries nor judges.

The figure is written as plain data: plotly's own objects check it value by value, which took most
of the answer's time. A test has plotly check it instead.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
from django.conf import settings
from django.utils.translation import get_language, gettext_noop
from django.utils.translation import gettext as _
from numpy.typing import NDArray

from diagnostics.samples import FloatArray
from diagnostics.signals.timebase import GAP_INTERVALS, usual_intervals
from fleet.pages.event.plot import downsample
from fleet.pages.event.plot.series import EventSeries

POINTS = 1500
MOST_BLOCKS = 1200
"""More changes than this cannot be seen on a screen; shorter blocks join as `turning`."""
NOT_RUNNING = 99
TARGETS = {"condensing_target", "evaporating_target"}
"""Drawn in the plot; the circuit does not show them."""
MARK_EVERY = 40
"""Of the points drawn, one in this many carries the symbol that tells which side counts."""


@dataclass(frozen=True)
class Line:
    """How one line is drawn. ``ink`` names a colour the page's style sheet knows."""

    name: str
    title: str
    axis: str
    ink: str
    dash: str = "solid"
    width: float = 1.6
    shape: str = "linear"
    symbol: str = ""


LINES = (
    Line("other", gettext_noop("other side (not used)"), "y2", "faint", dash="dot", width=1.0),
    Line(
        "upstream_outdoor_side",
        gettext_noop("outdoor-side thermistor counts"),
        "y2",
        "indoor",
        symbol="circle",
    ),
    Line(
        "upstream_indoor_side",
        gettext_noop("indoor-side thermistor counts"),
        "y2",
        "outdoor",
        symbol="diamond",
    ),
    Line("valve", gettext_noop("subcooler valve"), "y3", "ink", shape="hv"),
    Line("speed", gettext_noop("compressor speed"), "y4", "ink"),
    Line("demand", gettext_noop("capacity asked"), "y4", "indoor", dash="dash", shape="hv"),
    Line("condensing", gettext_noop("condensing"), "y5", "outdoor"),
    Line(
        "condensing_target",
        gettext_noop("condensing target"),
        "y5",
        "outdoor",
        dash="dash",
        width=1.0,
    ),
    Line("evaporating", gettext_noop("evaporating"), "y5", "indoor"),
    Line(
        "evaporating_target",
        gettext_noop("evaporating target"),
        "y5",
        "indoor",
        dash="dash",
        width=1.0,
    ),
)

INKS = {
    "ink": "#1b1e21",
    "faint": "#6b7075",
    "indoor": "#0072B2",
    "outdoor": "#A35200",
    "plain": "#7b8085",
    "attention": "#a84300",
}
"""Light-theme inks, from the Okabe-Ito palette, darkened where white asks for it."""

FILL = "#e6e7e3"

DOMAINS = {
    "y": (0.86, 0.985),
    "y2": (0.60, 0.815),
    "y3": (0.42, 0.55),
    "y4": (0.235, 0.37),
    "y5": (0.0, 0.185),
}


@dataclass(frozen=True)
class Band:
    """One kind of block in a strip: its word, ink and pattern (never told by colour alone)."""

    word: str
    ink: str
    pattern: str


VALVE, LIQUID_RUNS, RUNS_AS = (
    gettext_noop("valve"),
    gettext_noop("liquid runs"),
    gettext_noop("runs as"),
)
STATES = {
    "off": gettext_noop("off"),
    "starting": gettext_noop("starting"),
    "cooling": gettext_noop("cooling"),
    "heating": gettext_noop("heating"),
    "simultaneous": gettext_noop("simultaneous"),
    "defrost": gettext_noop("defrost"),
    "oil_return": gettext_noop("oil return"),
}
"""States of the system, by the names series give them."""

DIRECTION_BANDS = {
    1: Band(gettext_noop("→ to indoor"), "indoor", "/"),
    -1: Band(gettext_noop("← to outdoor"), "outdoor", "\\"),
    0: Band(gettext_noop("undetermined"), "plain", "."),
    9: Band(gettext_noop("turning often"), "plain", "x"),
}
HUNTING_BANDS = {
    1: Band(gettext_noop("hunts"), "attention", "x"),
    -1: Band(gettext_noop("cannot be judged"), "plain", "."),
}


def figure(series: EventSeries) -> dict[str, Any]:
    """The figure as plain JSON data: strips on top, five rows on one time axis."""
    traces: list[dict[str, Any]] = []
    if len(series):
        running = series.state != series.state_names.index("off")
        traces += _strip(series, LIQUID_RUNS, _while(running, series.direction), DIRECTION_BANDS)
        traces += _strip(series, VALVE, _while(running, series.hunting), HUNTING_BANDS)
        traces += _states(series)
        for line in LINES:
            traces += _line(series, line)
    return {"data": traces, "layout": _layout(series)}


def _while(running: NDArray[np.bool_], codes: NDArray[np.int8]) -> NDArray[np.int8]:
    """The codes while the compressor runs; standing still there is nothing to tell."""
    return np.where(running, codes, NOT_RUNNING).astype(np.int8)


def _line(series: EventSeries, line: Line) -> list[dict[str, Any]]:
    """The line, or nothing where nothing of it was logged."""
    values = series.values[line.name]
    local_ms = series.local_ms()
    picked = downsample.picked(local_ms / 1000.0, values, POINTS)
    if not picked.size:
        return []
    drawn = picked >= 0
    x, y = _drawn(local_ms, picked, drawn), _drawn(values, picked, drawn)
    marker: dict[str, Any] = {}
    if line.symbol:
        first = np.concatenate(([True], ~drawn[:-1]))
        marked = drawn & (first | (np.arange(picked.size) % MARK_EVERY == 0))
        sizes = np.where(marked, 7, 0).tolist()
        look = {"symbol": line.symbol, "size": sizes, "color": INKS[line.ink], "opacity": 1}
        marker = {"marker": look}
    trace = {
        "type": "scatter", "x": x, "y": y, "name": _(line.title), "yaxis": line.axis,
        "connectgaps": False, "hoverinfo": "none",
        "mode": "lines+markers" if line.symbol else "lines",
        "line": {"color": INKS[line.ink], "width": line.width, "dash": line.dash,
                 "shape": line.shape},
        "meta": {"ink": line.ink, "line": line.name},
    }  # fmt: skip
    return [trace | marker]


def _drawn(
    values: NDArray[Any], picked: NDArray[np.int64], drawn: NDArray[np.bool_]
) -> list[float | None]:
    """The values picked, to two decimals; None where the line breaks."""
    return _without(np.round(values[picked], 2).tolist(), ~drawn)


def _without(values: list[Any], absent: NDArray[np.bool_]) -> list[Any]:
    """The same list with None where a value is absent."""
    for i in np.flatnonzero(absent).tolist():
        values[i] = None
    return values


def blocks(
    local_ms: NDArray[np.int64], codes: NDArray[np.int8]
) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.int64]]:
    """Start [ms], length [ms] and code of stretches with one code; gaps belong to none."""
    if local_ms.size < 2:
        return np.zeros(0, np.int64), np.zeros(0, np.int64), np.zeros(0, np.int64)
    step = np.diff(local_ms)
    usual = usual_intervals(step.astype(np.float64)).astype(np.int64)
    broken = (step > GAP_INTERVALS * usual) | (np.diff(codes) != 0)
    start = np.concatenate(([0], np.flatnonzero(broken) + 1))
    last = np.concatenate((start[1:] - 1, [local_ms.size - 1]))
    usual = np.append(usual, usual[-1])
    reach = np.minimum(np.append(step, usual[-1]), usual)[last]
    return local_ms[start], local_ms[last] + reach - local_ms[start], codes[start].astype(np.int64)


def _coarser(
    start: NDArray[np.int64], length: NDArray[np.int64], code: NDArray[np.int64]
) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.int64]]:
    """Neighbouring short blocks joined as `turning often` (9) once there are too many to see."""
    if start.size <= MOST_BLOCKS:
        return start, length, code
    short = length < (start[-1] + length[-1] - start[0]) / MOST_BLOCKS
    code = np.where(short, 9, code)
    touching = start[1:] - (start[:-1] + length[:-1]) <= length[:-1]
    first = np.concatenate(([True], (code[1:] != code[:-1]) | ~touching))
    heads = np.flatnonzero(first)
    tails = np.append(heads[1:] - 1, start.size - 1)
    return start[heads], start[tails] + length[tails] - start[heads], code[heads]


def _strip(
    series: EventSeries, row: str, codes: NDArray[np.int8], bands: dict[int, Band]
) -> Iterator[dict[str, Any]]:
    start, length, code = _coarser(*blocks(series.local_ms(), codes))
    for value, band in bands.items():
        chosen = code == value
        if chosen.any():
            yield _bar(row, start[chosen], length[chosen], band)


def _states(series: EventSeries) -> Iterator[dict[str, Any]]:
    start, length, code = blocks(series.local_ms(), series.state)
    for value, name in enumerate(series.state_names):
        chosen = code == value
        if chosen.any() and name != "off":
            yield _bar(RUNS_AS, start[chosen], length[chosen], Band(STATES[name], "plain", ""))


def _bar(
    row: str, start: NDArray[np.int64], length: NDArray[np.int64], band: Band
) -> dict[str, Any]:
    colour, word = INKS[band.ink], _(band.word)
    return {
        "type": "bar", "orientation": "h", "base": start.tolist(), "x": length.tolist(),
        "y": [_(row)] * start.size, "yaxis": "y", "width": 0.82, "name": word,
        "hoverinfo": "skip", "text": [word] * start.size, "textposition": "inside",
        "insidetextanchor": "middle", "textangle": 0,
        "marker": {"color": "rgba(0,0,0,0)" if band.pattern else FILL,
                   "line": {"color": colour, "width": 1},
                   "pattern": {"shape": band.pattern, "fgcolor": colour, "size": 6,
                               "solidity": 0.25, "fillmode": "overlay"}},
        "meta": {"ink": band.ink, "band": "patterned" if band.pattern else "filled"},
    }  # fmt: skip


def _titles(series: EventSeries) -> dict[str, str]:
    return {
        "y2": _("Subcooling at the point that counts, {unit}").format(unit=series.difference_unit),
        "y3": _("Subcooler valve opening, {unit}").format(unit="%"),
        "y4": _("Compressor speed and capacity asked, {unit} of full").format(unit="%"),
        "y5": _("Condensing and evaporating, {unit} (dashed: target)").format(
            unit=series.temperature_unit
        ),
    }


def _dates() -> dict[str, Any]:
    """How the axis writes dates: as the page does, but for months, named in English only."""
    english = get_language() == settings.LANGUAGE_CODE
    day, short = ("%-d %b %Y", "%-d %b") if english else ("%d.%m.%Y", "%d.%m.")
    stops = [
        {"dtickrange": [None, 86_399_999], "value": f"%H:%M\n{day}"},
        {"dtickrange": [86_400_000, None], "value": day},
    ]
    return {"hoverformat": f"{short} %H:%M", "tickformatstops": stops}


def _layout(series: EventSeries) -> dict[str, Any]:
    quiet = {"gridcolor": "#d9dad6", "zeroline": False, "fixedrange": True, "nticks": 5}
    axes = {
        f"yaxis{axis[1:]}": {"domain": DOMAINS[axis], "anchor": "x", **quiet} for axis in DOMAINS
    }
    axes["yaxis"] |= {
        "type": "category",
        "categoryorder": "array",
        "categoryarray": [_(row) for row in (VALVE, LIQUID_RUNS, RUNS_AS)],
        "showgrid": False,
        "range": [-0.5, 2.5],
    }
    axes["yaxis2"] |= {"zeroline": True, "zerolinecolor": "#7b8085"}
    axes["yaxis3"] |= {"range": [-3, 103]}
    axes["yaxis4"] |= {"rangemode": "tozero"}
    return {
        **axes,
        "xaxis": {
            "type": "date", "range": list(series.local_span_ms), "anchor": "y5",
            "title": {"text": series.clock, "standoff": 14},
            "showspikes": True, "spikemode": "across", "spikesnap": "cursor",
            "spikethickness": 1, "spikedash": "solid", "spikecolor": INKS["faint"],
            "gridcolor": "#d9dad6", **_dates(),
        },
        "barmode": "overlay", "hovermode": "x", "hoverdistance": -1, "spikedistance": -1,
        "showlegend": False, "dragmode": False, "template": {},
        "margin": {"l": 78, "r": 12, "t": 6, "b": 58},
        "paper_bgcolor": "rgba(0,0,0,0)", "plot_bgcolor": "rgba(0,0,0,0)",
        "font": {"family": "system-ui, sans-serif", "size": 12, "color": INKS["ink"]},
        "uniformtext": {"mode": "hide", "minsize": 10},
        "annotations": [
            {"text": text, "xref": "paper", "yref": "paper", "x": 0, "y": DOMAINS[axis][1],
             "xanchor": "left", "yanchor": "bottom", "showarrow": False, "align": "left"}
            for axis, text in _titles(series).items()
        ],
    }  # fmt: skip


def instants(series: EventSeries, most: int = 1440) -> dict[str, Any]:
    """What the circuit sketch shows for the instant under the cursor: every k-th sample."""
    every = max(-(-len(series) // most), 1)
    pick = slice(None, None, every)
    shown = series.values.keys() - TARGETS
    numbers = {name: _plain(series.values[name][pick]) for name in sorted(shown)}
    return {
        "t": series.local_ms()[pick].tolist(),
        "direction": series.direction[pick].tolist(),
        "state": series.state[pick].tolist(),
        "hunting": series.hunting[pick].tolist(),
        "peak": series.peak_local_ms,
        "state_names": [_(STATES[name]) for name in series.state_names],
        "off": series.state_names.index("off"),
        "values": numbers,
    }


def _plain(values: FloatArray) -> list[float | None]:
    return _without(np.round(values, 3).tolist(), ~np.isfinite(values))
