"""Names of the columns that hold samples: one an outdoor channel, one a slot and channel."""

from __future__ import annotations

from diagnostics.channels import INDOOR, MAX_INDOOR_UNITS, OUTDOOR, Channel

IndoorKey = tuple[int, str]
"""Slot of an indoor unit and name of a channel."""


def indoor_column(slot: int, channel: str) -> str:
    """The column of one channel of the indoor unit in ``slot``."""
    return f"u{slot:02d}_{channel}"


OUTDOOR_COLUMNS: dict[str, Channel] = {channel.name: channel for channel in OUTDOOR}
INDOOR_COLUMNS: dict[str, tuple[int, Channel]] = {
    indoor_column(slot, channel.name): (slot, channel)
    for slot in range(MAX_INDOOR_UNITS)
    for channel in INDOOR
}
"""Slot by slot, so that a system with few units uses only the first columns of a row."""
