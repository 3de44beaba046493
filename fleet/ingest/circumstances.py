"""What one needs to know of a system to read its uploads."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from zoneinfo import ZoneInfo

from diagnostics.plant import Plant
from fleet.models import System


@dataclass(frozen=True)
class Circumstances:
    """Plant and zone of a system; ``slots``: code of each indoor unit ever named -> its slot."""

    plant: Plant
    zone: ZoneInfo
    slots: Mapping[str, int]


def of(system: System) -> Circumstances:
    """The circumstances of a system. Retired units are known, so that late rows find them."""
    slots = {unit.code: unit.slot for unit in system.indoor_units.all()}
    return Circumstances(system.plant(), system.site.zone, slots)
