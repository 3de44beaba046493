"""How the columns of a file are read and coded, settled once for all of its pieces."""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from functools import cache

import numpy as np
import polars as pl

from diagnostics.channels import Quantity
from diagnostics.plant import Plant
from diagnostics.samples import FloatArray
from fleet.ingest.cells import Coded, Kind, code
from fleet.ingest.header import Column
from fleet.ingest.rows import TEXT, name


class Plan:
    """Some columns of a file and what their cells are read as.

    kinds: by position in the file. A column is told by its text where somebody has to look at its
    cells: all with ``as_text``, of ``foreign`` logs the flags and words.
    """

    def __init__(self, columns: Sequence[Column], *, foreign: bool, as_text: bool) -> None:
        """Group what is alike: coding columns one by one costs more than coding their cells."""
        self.columns = columns
        self.kinds: dict[int, Kind] = {
            column.position: TEXT if as_text else _kind(column, foreign=foreign)
            for column in columns
        }
        self._texts = [n for n, kind in enumerate(self.kinds.values()) if kind == TEXT]
        groups = _alike(columns, set(self._texts))
        self._straight = [number for group in groups for number in group]
        ends = np.cumsum([0, *map(len, groups)]).tolist()
        self._rows = [slice(*ends[at : at + 2]) for at in range(len(groups))]
        self._asked = [self._numbers([columns[n].position for n in group]) for group in groups]

    def _numbers(self, positions: list[int]) -> pl.Expr:
        cells = pl.col([name(position) for position in positions])
        words = isinstance(self.kinds[positions[0]], pl.Enum)
        return cells.to_physical().cast(pl.Float64) if words else cells

    def code(
        self, frame: pl.DataFrame, *, as_planned: bool, plant: Plant
    ) -> tuple[Coded, list[int]]:
        """Codes of the columns, shape (columns, rows), and which have to be told by their text.

        frame: the rows, read as the kinds say if ``as_planned``, else as text. Rows of the codes
        that have to be told by text hold nothing of use yet.
        """
        shape = len(self.columns), frame.height
        coded = Coded(np.empty(shape, np.int16), *np.zeros((2, *shape), np.bool_))
        if not as_planned or not self._straight:
            return coded, list(range(len(self.columns)))
        read = frame.select(self._asked)
        said = read.to_numpy(order="fortran").T
        for rows in self._rows:
            numbers = self._straight[rows]
            done = code(said[rows], [self.columns[number] for number in numbers], plant)
            for whole, part in zip(coded, done, strict=True):
                whole[numbers] = part
        return coded, sorted([*self._texts, *self._spoilt(said, read)])

    def _spoilt(self, said: FloatArray, read: pl.DataFrame) -> list[int]:
        """Columns with a cell that was read as a number and is no finite one."""
        lacking = np.count_nonzero(~np.isfinite(said), axis=1)
        if not lacking.any():
            return []
        spoilt = np.flatnonzero(lacking != np.array(read.null_count().row(0)))
        return [self._straight[row] for row in spoilt]


def _kind(column: Column, *, foreign: bool) -> Kind:
    channel = column.channel
    if foreign and channel.quantity in (Quantity.FLAG, Quantity.CHOICE):
        return TEXT
    return _words(channel.choices) if channel.choices else pl.Float64()


@cache
def _words(choices: tuple[str, ...]) -> pl.Enum:
    return pl.Enum(choices)


def _alike(columns: Sequence[Column], but: set[int]) -> list[list[int]]:
    """Numbers of columns, without some, grouped so that each group can be coded in one go."""
    groups: dict[Hashable, list[int]] = {}
    for number, column in enumerate(columns):
        if number in but:
            continue
        channel = column.channel
        key = channel.quantity, channel.choices, channel.quantum, channel.offset
        groups.setdefault((key, column.unit, column.scale), []).append(number)
    return list(groups.values())
