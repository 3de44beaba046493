"""From cells to fixed-point codes, with every cell that cannot be one.

A number is written in decimal, with or without sign, fraction and exponent; spaces around it are
passed over, "nan" and "inf" are none. The words of ``call`` and ``reported_state`` are taken in
lower case as the vocabulary has them, and nothing else.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
import polars as pl
from numpy.typing import NDArray

from diagnostics.channels import Channel, Quantity
from diagnostics.plant import Plant
from diagnostics.samples import FloatArray
from diagnostics.units import to_inside
from fleet.ingest.header import Column
from fleet.timeseries.block import Codes

Kind = pl.Float64 | pl.Enum | pl.String

SLACK = 1e-3
"""Quanta by which a value may seem outside its range when a unit was converted."""

SHOWN_CHARACTERS = 40


class Coded(NamedTuple):
    """One column of some rows, or several alike, each a row here.

    codes: EMPTY where the cell is empty or bad, shape (r,) or (columns, r).
    nonsense: cells that are no value at all; outside: values no such instrument can give.
    """

    codes: Codes
    nonsense: NDArray[np.bool_]
    outside: NDArray[np.bool_]


def code_text(texts: pl.Series, column: Column, plant: Plant) -> Coded:
    """Codes of the cells of one column, told by their text; empty cells are null."""
    channel = column.channel
    is_choice = channel.quantity is Quantity.CHOICE
    said, nonsense = _choices(texts, channel) if is_choice else _numbers(texts)
    (codes,), (neither,), (outside,) = code(said[None], [column], plant)
    return Coded(codes, nonsense | neither, outside)


def code(said: FloatArray, columns: Sequence[Column], plant: Plant) -> Coded:
    """Codes of columns that are alike, shape (columns, r); NaN where a cell is empty."""
    channel, unit, scale = columns[0].channel, columns[0].unit, columns[0].scale
    nonsense = np.zeros(said.shape, np.bool_)
    if channel.quantity is Quantity.FLAG:
        nonsense = ~np.isnan(said) & (said != 0) & (said != 1)
        said = np.where(nonsense, np.nan, said)
    with np.errstate(over="ignore"):  # an absurd number becomes inf, which is outside
        inside = to_inside(channel, unit, said if scale == 1 else said * scale, plant)
    slack = SLACK * channel.quantum
    low = np.array([[column.channel.low] for column in columns]) - slack
    high = np.array([[column.channel.high] for column in columns]) + slack
    outside = (inside < low) | (inside > high)
    if outside.any():
        inside = np.where(outside, np.nan, inside)
    return Coded(channel.encode(inside), nonsense, outside)


def complaint(text: str, column: Column, plant: Plant, *, outside: bool) -> str:
    """Why a cell was left out."""
    shown = f'"{text[:SHOWN_CHARACTERS]}"'
    channel = column.channel
    if outside:
        low, high = said(np.array([channel.low, channel.high]), column, plant)
        unit = f" {column.unit}" if column.unit else ""
        return f"{shown} is outside the physical range, {low:.6g} to {high:.6g}{unit}"
    if channel.choices:
        return f"{shown} is none of {', '.join(channel.choices)}"
    if channel.quantity is Quantity.FLAG:
        return f"{shown} is neither 0 nor 1"
    return f"{shown} is not a number"


def shown(stored: int, column: Column, plant: Plant) -> str:
    """A code as the file would say it."""
    value = column.channel.decode(np.array([stored], np.int16))
    if column.channel.choices:
        return column.channel.choices[int(value[0])]
    unit = f" {column.unit}" if column.unit else ""
    return f"{said(value, column, plant)[0]:.6g}{unit}"


def said(inside: FloatArray, column: Column, plant: Plant) -> FloatArray:
    """Values as the file says them. All units are straight lines against the one inside."""
    zero, one = to_inside(column.channel, column.unit, np.array([0.0, 1.0]), plant)
    return np.asarray((inside - zero) / (one - zero) / column.scale)


def _numbers(texts: pl.Series) -> tuple[FloatArray, NDArray[np.bool_]]:
    numbers = texts.cast(pl.Float64, strict=False).to_numpy(writable=True)
    doubtful = np.flatnonzero(~np.isfinite(numbers) & texts.is_not_null().to_numpy())
    nonsense = np.zeros(numbers.size, np.bool_)
    if doubtful.size:
        stripped = texts.gather(doubtful).str.strip_chars(" \t").replace("", None)
        again = stripped.cast(pl.Float64, strict=False).to_numpy()
        bad = ~np.isfinite(again) & stripped.is_not_null().to_numpy()
        numbers[doubtful] = np.where(bad, np.nan, again)
        nonsense[doubtful] = bad
    return numbers, nonsense


def _choices(texts: pl.Series, channel: Channel) -> tuple[FloatArray, NDArray[np.bool_]]:
    stripped = texts.str.strip_chars(" \t").replace("", None)
    indices = {word: float(index) for index, word in enumerate(channel.choices)}
    found = stripped.replace_strict(indices, default=None, return_dtype=pl.Float64)
    nonsense = (found.is_null() & stripped.is_not_null()).to_numpy()
    return found.to_numpy(), np.asarray(nonsense)
