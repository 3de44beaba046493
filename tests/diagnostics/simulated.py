"""From a simulated recording to the samples and the plant the detectors see.

Goes the way an upload goes: headers, units, ranges, fixed-point codes. Truth stays behind.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import numpy as np

from diagnostics.channels import INDOOR_BY_NAME, OUTDOOR_BY_NAME, Channel, Quantity
from diagnostics.plant import (
    BranchSide,
    IndoorUnit,
    LiquidLine,
    Plant,
    Refrigerant,
    atmospheric_pressure_pa,
)
from diagnostics.samples import FloatArray, Samples
from diagnostics.units import to_inside
from fixtures.simulator.simulate import Recording
from fixtures.simulator.spec import Compressor, Segment, SystemSpec
from fixtures.simulator.spec import IndoorUnit as Room


def plant_of(spec: SystemSpec) -> Plant:
    """What the manifest of ``spec`` says; nothing hidden."""
    area_mm2 = spec.valve.full_area_mm2
    side = spec.valve.branch_side
    return Plant(
        refrigerant=Refrigerant(spec.refrigerant),
        cooling_capacity_w=spec.cooling_capacity_kw * 1e3,
        compressor_displacement_m3=spec.compressor.displacement_cm3 * 1e-6,
        compressor_max_speed_rps=spec.compressor.max_speed_rps,
        subcooler_valve_full_pulses=spec.valve.full_pulses,
        indoor=tuple(
            IndoorUnit(
                unit.code,
                unit.cooling_capacity_kw * 1e3,
                unit.room,
                unit.room_volume_m3,
                unit.elevation_m,
            )
            for unit in spec.indoor
        ),
        motor_pole_pairs=spec.compressor.motor_pole_pairs,
        subcooler_valve_full_area_m2=None if area_mm2 is None else area_mm2 * 1e-6,
        subcooler_branch_side=None if side is None else BranchSide(side),
        rated_charge_kg=spec.rated_charge_kg,
        liquid_lines=tuple(
            LiquidLine(line.inside_diameter_mm * 1e-3, line.length_m) for line in spec.liquid_lines
        ),
        atmospheric_pressure_pa=atmospheric_pressure_pa(spec.altitude_m),
    )


def samples_and_plant(recording: Recording, spec: SystemSpec) -> tuple[Samples, Plant]:
    """Samples and plant as the fleet would hold them after taking in ``recording``."""
    plant = plant_of(spec)
    rows = {unit.code: row for row, unit in enumerate(plant.indoor)}
    n = recording.time.size
    outdoor: dict[str, FloatArray] = {}
    indoor: dict[str, FloatArray] = {}
    for header, column in recording.columns.items():
        place, _, rest = header.rpartition("/")
        name, _, unit = rest.partition(" ")
        channel = (INDOOR_BY_NAME if place else OUTDOOR_BY_NAME)[name]
        values = _inside(channel, unit.strip("[]"), np.asarray(column), plant)
        if place:
            indoor.setdefault(name, np.full((len(rows), n), np.nan))[rows[place]] = values
        else:
            outdoor[name] = values
    return Samples(recording.time.astype("datetime64[us]"), outdoor, indoor), plant


def _inside(channel: Channel, unit: str, column: np.ndarray, plant: Plant) -> FloatArray:
    if channel.quantity is Quantity.CHOICE:
        values = np.full(column.size, np.nan)
        for code, word in enumerate(channel.choices):
            values[column == word] = code
        return values
    values = to_inside(channel, unit or None, column.astype(np.float64), plant)
    values = np.where((values < channel.low) | (values > channel.high), np.nan, values)
    return channel.decode(channel.encode(values))


def mixed_building(seed: int, interval_s: int = 10) -> SystemSpec:
    """A day of rooms that differ enough to call for both cooling and heating."""
    rng = np.random.default_rng(seed)
    rooms = tuple(
        Room(
            f"A-{i}",
            5.6,
            setpoint_c=float(rng.uniform(20.0, 24.5)),
            envelope_share_per_k=float(rng.uniform(0.012, 0.04)),
            gains_share=float(rng.uniform(0.15, 0.6)),
            solar_share=float(rng.uniform(0.05, 0.5)),
            base_gains_share=0.5 if i % 4 == 0 else 0.04,
            always_on=i % 4 == 0,
        )
        for i in range(8)
    )
    return SystemSpec(
        code="M1",
        refrigerant=("R-410A", "R-32", "R-454B")[seed % 3],
        indoor=rooms,
        cooling_capacity_kw=39.0,
        compressor=Compressor(displacement_cm3=71.0),
        start=datetime(2026, 1 + 2 * seed % 12, 12, tzinfo=UTC),
        segments=(Segment(timedelta(days=1), interval_s),),
        seed=seed,
        use=("hotel", "laboratory", "office")[seed % 3],
    )
