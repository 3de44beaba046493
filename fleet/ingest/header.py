"""What the header of an upload says: which column is which channel, in which unit."""

from __future__ import annotations

import re
from dataclasses import dataclass

import numpy as np

from diagnostics.channels import INDOOR_BY_NAME, OUTDOOR_BY_NAME, Channel
from diagnostics.units import UnitError, to_inside
from fleet.ingest.circumstances import Circumstances
from fleet.ingest.report import RefusedError
from fleet.timeseries.columns import indoor_column

TIME = "time"
NAME = re.compile(r"(?:(?P<unit_code>[^/\[\]]+)/)?(?P<channel>\w+)(?:\s*\[(?P<unit>[^\[\]]*)\])?")


@dataclass(frozen=True)
class Column:
    """A column that holds a channel. ``position`` counts from 0; ``slot`` is None outdoors.

    ``scale`` multiplies what is written before it is read in ``unit``.
    """

    position: int
    title: str
    channel: Channel
    unit: str | None
    slot: int | None
    scale: float = 1.0

    @property
    def stored(self) -> str:
        """Name of the column it goes to."""
        name = self.channel.name
        return name if self.slot is None else indoor_column(self.slot, name)


@dataclass(frozen=True)
class Header:
    """A header understood. ``unknown`` holds the titles nobody knows.

    ``time`` holds the positions that make up the time, usually one.
    """

    time: tuple[int, ...]
    columns: tuple[Column, ...]
    unknown: tuple[str, ...]


def understand(titles: list[str], circumstances: Circumstances) -> Header:
    """Tell time, channels and unknown columns from the titles of a file.

    Raises RefusedError: no time, no known channel, a channel twice, a unit that cannot be read.
    """
    if TIME not in titles:
        raise _refused(f'no column is called "time"{_separator_hint(titles)}')
    known: dict[str, Column] = {}
    unknown: list[str] = []
    for position, title in enumerate(titles):
        if title == TIME:
            if position != titles.index(TIME):
                raise _refused("the column stands twice: keep one", TIME)
            continue
        if (column := _column(position, title, circumstances)) is None:
            unknown.append(title or f"column {position + 1} without a name")
        elif (other := known.setdefault(column.stored, column)) is not column:
            raise _refused(
                f"columns {other.position + 1} and {position + 1} hold the same channel: keep one",
                title,
            )
    if not known:
        raise _refused(
            "no column holds a known channel: titles look like discharge_pressure [kPa(g)] or "
            "A-101/room_temperature [degC], with the codes of the manifest"
        )
    return Header((titles.index(TIME),), tuple(known.values()), tuple(unknown))


def _column(position: int, title: str, circumstances: Circumstances) -> Column | None:
    match = NAME.fullmatch(title)
    if match is None:
        return None
    code, name, unit = match["unit_code"], match["channel"], match["unit"]
    slot = None if code is None else circumstances.slots.get(code)
    channel = (OUTDOOR_BY_NAME if code is None else INDOOR_BY_NAME).get(name)
    if channel is None or (code is not None and slot is None):
        return None
    try:
        to_inside(channel, unit, np.zeros(1), circumstances.plant)
    except UnitError as error:
        raise _refused(error.reason, title) from error
    return Column(position, title, channel, unit, slot)


def _separator_hint(titles: list[str]) -> str:
    if len(titles) == 1 and any(separator in titles[0] for separator in ";\t|"):
        return ": cells are to be separated by commas (RFC 4180)"
    return ": name the column of time stamps so"


def _refused(reason: str, column: str = "") -> RefusedError:
    return RefusedError(reason, line=1, column=column)
