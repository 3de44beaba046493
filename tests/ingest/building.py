"""Manifests, systems and files for tests of ingest."""

from __future__ import annotations

import gzip
from collections.abc import Iterable, Sequence
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import numpy as np

from diagnostics.channels import EMPTY
from diagnostics.plant import IndoorUnit, Plant, Refrigerant
from fleet.ingest.circumstances import Circumstances
from fleet.ingest.manifest import register
from fleet.ingest.parse import Parsed, parse
from fleet.models import System
from fleet.timeseries import store
from fleet.timeseries.columns import INDOOR_COLUMNS, OUTDOOR_COLUMNS

MANIFEST = """
[client]
code = "alder-council"
name = "Alder Council"

[site]
code = "ferry-hall"
name = "Ferry Hall"
timezone = "Europe/Lisbon"
altitude_m = 35

[[system]]
code = "R1"
refrigerant = "R-410A"
cooling_capacity_kw = 45.0
compressor_displacement_cm3 = 82.0
compressor_max_speed_rps = 110.0
motor_pole_pairs = 2
subcooler_valve_full_pulses = 480
subcooler_valve_full_area_mm2 = 2.2
subcooler_branch_side = "indoor_side"
rated_charge_kg = 18.5
[[system.liquid_line]]
inside_diameter_mm = 11.1
length_m = 42.0
[[system.indoor]]
code = "A-101"
cooling_capacity_kw = 5.6
room = "Ticket office"
room_volume_m3 = 74
elevation_m = -6.0
[[system.indoor]]
code = "A-102"
cooling_capacity_kw = 2.8
"""

PLANT = Plant(
    refrigerant=Refrigerant.R410A,
    cooling_capacity_w=45e3,
    compressor_displacement_m3=82e-6,
    compressor_max_speed_rps=110.0,
    subcooler_valve_full_pulses=480.0,
    indoor=(IndoorUnit("A-101", 5600.0), IndoorUnit("A-102", 2800.0)),
    motor_pole_pairs=2.0,
)
LISBON = Circumstances(PLANT, ZoneInfo("Europe/Lisbon"), {"A-101": 0, "A-102": 1})


def registered() -> System:
    """The system of the manifest."""
    return register(MANIFEST).systems.get()


def csv(*lines: str, end: str = "\n") -> bytes:
    """A file of these lines."""
    return "".join(line + end for line in lines).encode()


def parsed(*lines: str) -> Parsed:
    """A file of these lines, read for a site in Lisbon."""
    return parse(csv(*lines), LISBON)


def column(found: Parsed, name: str) -> list[float | None]:
    """Decoded values of a stored column, None where there is none."""
    block = found.block
    if name in OUTDOOR_COLUMNS:
        codes, channel = block.outdoor[name], OUTDOOR_COLUMNS[name]
    else:
        slot, channel = INDOOR_COLUMNS[name]
        codes = block.indoor[slot, channel.name]
    values = channel.decode(codes)
    return [None if code == EMPTY else float(v) for v, code in zip(values, codes, strict=True)]


def instants(found: Parsed) -> list[str]:
    """Times of the block, as text in UTC."""
    return [str(time) for time in found.block.time.astype("datetime64[s]")]


def reasons(found: Parsed) -> list[str]:
    """What was complained of, as a command prints it."""
    return [str(complaint) for complaint in found.report.complaints()]


def day_of_logs(rows: int = 8640, indoor: Sequence[str] = ("A-101", "A-102")) -> bytes:
    """A file as loggers write it, packed; values wander and are quantised."""
    rng = np.random.default_rng(5)
    time = np.datetime64("2026-01-05T00:00:00") + np.arange(rows) * np.timedelta64(10, "s")
    titles = ["time"]
    columns: list[Iterable[str]] = [[f"{each}Z" for each in time.astype(str)]]
    units = {"speed": "rpm", "pressure": "kPa(g)", "temperature": "degC", "opening": "pulses"}
    spans = {"speed": (600, 6000), "pressure": (400, 3000), "opening": (0, 480)}
    everything = [(c, "") for c in OUTDOOR_COLUMNS.values()]
    everything += [
        (c, f"{code}/") for code in indoor for slot, c in INDOOR_COLUMNS.values() if slot == 0
    ]
    for channel, before in everything:
        unit = units.get(channel.quantity)
        titles.append(f"{before}{channel.name}" + (f" [{unit}]" if unit else ""))
        if channel.choices:
            columns.append(rng.choice(channel.choices, rows).tolist())
        elif unit is None:
            columns.append(rng.integers(0, 2, rows).astype(str).tolist())
        else:
            low, high = spans.get(channel.quantity, (5, 35))
            walk = np.clip((low + high) / 2 + rng.normal(0, 1, rows).cumsum(), low, high)
            columns.append(np.round(walk, 1 if unit == "degC" else 0).astype(str).tolist())
    rows_of_text = map(",".join, zip(*columns, strict=True))
    return gzip.compress(csv(",".join(titles), *rows_of_text))


def dump(system: System) -> dict[str, bytes]:
    """Every sample of a system, bit by bit, by column; NaN where there is none."""
    system = System.objects.get(pk=system.pk)
    samples = store.read(system, datetime(2000, 1, 1, tzinfo=UTC), datetime(2100, 1, 1, tzinfo=UTC))
    found = {"time": samples.time.tobytes()}
    found |= {name: values.tobytes() for name, values in samples.outdoor.items()}
    return found | {f"indoor {name}": values.tobytes() for name, values in samples.indoor.items()}
