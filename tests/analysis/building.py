"""A registered system with samples and windows made by hand."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, date, datetime, timedelta

import numpy as np
from django.db import transaction

from diagnostics.channels import INDOOR_BY_NAME, OUTDOOR_BY_NAME
from diagnostics.windows import Windows
from fleet.analysis import window_rows
from fleet.models import Client, DueDay, IndoorUnit, Site, System
from fleet.timeseries import store
from fleet.timeseries.store import Block

FIRST_DAY = date(2026, 3, 2)
START = datetime(2026, 3, 2, tzinfo=UTC)
UNITS = 2


def registered(site: str = "ferry-hall", code: str = "R1", client: str = "alder-council") -> System:
    """A small R-410A system with two indoor units."""
    owner, _ = Client.objects.get_or_create(code=client, defaults={"name": client.title()})
    building, _ = Site.objects.get_or_create(
        code=site, defaults={"client": owner, "name": site.title(), "timezone": "Europe/Lisbon"}
    )
    system = System.objects.create(
        site=building,
        code=code,
        refrigerant="R-410A",
        cooling_capacity_w=28_000.0,
        compressor_displacement_m3=60e-6,
        compressor_max_speed_rps=110.0,
        subcooler_valve_full_pulses=480.0,
    )
    for slot in range(UNITS):
        IndoorUnit.objects.create(
            system=system, slot=slot, code=f"A-{slot + 1}", cooling_capacity_w=14_000.0
        )
    return system


def cooling(hours: float, *, from_hour: float = 0.0, interval_s: int = 60) -> Block:
    """Steady cooling with 5 K of subcooling at the outdoor side, noise and all.

    The noise depends on the instant alone, so blocks that overlap do not contradict each other.
    """
    minute = np.arange(from_hour * 3600, (from_hour + hours) * 3600, interval_s).astype(np.int64)
    time = np.datetime64("2026-03-02T00:00:00", "us") + minute * np.timedelta64(1, "s")
    levels = {
        "compressor_speed": 60.0,
        "discharge_pressure": 2.6e6,
        "suction_pressure": 0.95e6,
        "discharge_temperature": 346.0,
        "suction_temperature": 285.0,
        "liquid_temperature_outdoor_side": 311.0,
        "liquid_temperature_indoor_side": 303.0,
        "subcooler_gas_temperature": 286.0,
        "subcooler_valve": 0.3,
        "outdoor_air_temperature": 303.0,
    }
    rooms = {"demand": 1.0, "call": 1.0, "room_temperature": 297.3, "setpoint": 297.0, "valve": 0.4}
    noise = {
        name: 1.0 + 3e-4 * np.sin(minute / (7.0 + i)) for i, name in enumerate((*levels, *rooms))
    }
    outdoor = {
        name: OUTDOOR_BY_NAME[name].encode(level * noise[name]) for name, level in levels.items()
    }
    exact = {"demand", "call"}
    indoor = {
        (slot, name): INDOOR_BY_NAME[name].encode(
            np.full(time.size, level) if name in exact else level * noise[name]
        )
        for name, level in rooms.items()
        for slot in range(UNITS)
    }
    return Block(time, outdoor, indoor)


def cut(block: Block, rows: slice) -> Block:
    """Some rows of a block."""
    return Block(
        block.time[rows],
        {key: codes[rows] for key, codes in block.outdoor.items()},
        {key: codes[rows] for key, codes in block.indoor.items()},
    )


def take_in(system: System, *blocks: Block) -> None:
    """Store samples and make due what they touch, as the way in does."""
    for block in blocks:
        with transaction.atomic():
            changed = store.merge(system.pk, block).changed_days
            following = store.days(system.pk, among={day + timedelta(1) for day in changed})
            DueDay.objects.mark(system.pk, changed | following)


def keep_windows(system: System, windows: Windows) -> None:
    """Store windows as if they had come of an analysis, and make the system due to be settled."""
    days: Sequence[date] = np.unique(windows.start.astype("datetime64[D]")).tolist()
    for day in days:
        window_rows.replace_day(system.pk, day, windows)
        DueDay.objects.update_or_create(
            system=system, day=day, defaults={"generation": 1, "analysed_generation": 1}
        )
