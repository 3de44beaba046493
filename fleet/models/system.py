"""One outdoor unit with its indoor units, as the manifest describes it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.db import models

from diagnostics import plant
from fleet.models.site import Site

if TYPE_CHECKING:
    from django.db.models.fields.related_descriptors import RelatedManager


class System(models.Model):
    """One refrigerant circuit. Units of the columns are in their names (SI).

    ``liquid_lines`` is a list of ``{"inside_diameter_m": …, "length_m": …}``.
    """

    site = models.ForeignKey(Site, on_delete=models.CASCADE, related_name="systems")
    code = models.CharField(max_length=24)
    refrigerant = models.CharField(max_length=12)
    cooling_capacity_w = models.FloatField()
    compressor_displacement_m3 = models.FloatField()
    compressor_max_speed_rps = models.FloatField()
    motor_pole_pairs = models.FloatField(null=True, blank=True)
    subcooler_valve_full_pulses = models.FloatField()
    subcooler_valve_full_area_m2 = models.FloatField(null=True, blank=True)
    subcooler_branch_side = models.CharField(max_length=16, null=True, blank=True)
    rated_charge_kg = models.FloatField(null=True, blank=True)
    liquid_lines = models.JSONField(default=list, blank=True)

    if TYPE_CHECKING:
        id: int
        indoor_units: RelatedManager[IndoorUnit]

    class Meta:
        """A system's code is unique in its site."""

        ordering = ("site__code", "code")
        constraints = (
            models.UniqueConstraint(fields=("site", "code"), name="system_code_unique_in_site"),
        )

    def __str__(self) -> str:
        """``site/system``, as commands name it."""
        return f"{self.site.code}/{self.code}"

    def indoor_in_order(self) -> list[IndoorUnit]:
        """Indoor units of today by slot: the row order of every indoor array."""
        present = (unit for unit in self.indoor_units.all() if not unit.retired)
        return sorted(present, key=lambda unit: unit.slot)

    def plant(self) -> plant.Plant:
        """The system as ``diagnostics`` knows it."""
        side = self.subcooler_branch_side
        return plant.Plant(
            refrigerant=plant.Refrigerant(self.refrigerant),
            cooling_capacity_w=self.cooling_capacity_w,
            compressor_displacement_m3=self.compressor_displacement_m3,
            compressor_max_speed_rps=self.compressor_max_speed_rps,
            subcooler_valve_full_pulses=self.subcooler_valve_full_pulses,
            indoor=tuple(unit.record() for unit in self.indoor_in_order()),
            motor_pole_pairs=self.motor_pole_pairs,
            subcooler_valve_full_area_m2=self.subcooler_valve_full_area_m2,
            subcooler_branch_side=plant.BranchSide(side) if side else None,
            rated_charge_kg=self.rated_charge_kg,
            liquid_lines=tuple(plant.LiquidLine(**line) for line in self.liquid_lines),
            atmospheric_pressure_pa=plant.atmospheric_pressure_pa(self.site.altitude_m),
        )


class IndoorUnit(models.Model):
    """One indoor unit. ``slot`` is its place in the samples and never changes or is reused.

    A unit that the manifest no longer names is ``retired``: it keeps its slot and its samples,
    which are still taken in, but the plant is judged without it. It returns when named again.
    """

    system = models.ForeignKey(System, on_delete=models.CASCADE, related_name="indoor_units")
    slot = models.PositiveSmallIntegerField()
    code = models.CharField(max_length=24)
    cooling_capacity_w = models.FloatField()
    room = models.CharField(max_length=120, blank=True)
    room_volume_m3 = models.FloatField(null=True, blank=True)
    elevation_m = models.FloatField(null=True, blank=True)
    retired = models.BooleanField(default=False)

    class Meta:
        """Code and slot are unique in the system."""

        ordering = ("slot",)
        constraints = (
            models.UniqueConstraint(fields=("system", "code"), name="indoor_code_unique"),
            models.UniqueConstraint(fields=("system", "slot"), name="indoor_slot_unique"),
        )

    def __str__(self) -> str:
        """The code people use."""
        return self.code

    def record(self) -> plant.IndoorUnit:
        """The unit as ``diagnostics`` knows it."""
        return plant.IndoorUnit(
            code=self.code,
            cooling_capacity_w=self.cooling_capacity_w,
            room=self.room,
            room_volume_m3=self.room_volume_m3,
            elevation_m=self.elevation_m,
        )
