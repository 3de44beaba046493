"""Creates the samples: a hypertable with TimescaleDB, weekly partitions without."""

from django.db import migrations
from django.db.backends.base.schema import BaseDatabaseSchemaEditor
from django.db.migrations.state import StateApps

from fleet.timeseries import schema

OUTDOOR = (
    "compressor_speed",
    "discharge_pressure",
    "suction_pressure",
    "discharge_temperature",
    "suction_temperature",
    "liquid_temperature_outdoor_side",
    "liquid_temperature_indoor_side",
    "subcooler_gas_temperature",
    "subcooler_valve",
    "outdoor_valve",
    "outdoor_air_temperature",
    "outdoor_coil_temperature",
    "evaporating_target",
    "condensing_target",
    "reported_state",
)
INDOOR = (
    "demand",
    "call",
    "room_temperature",
    "setpoint",
    "valve",
    "liquid_pipe_temperature",
    "gas_pipe_temperature",
)
SLOTS = 64
COLUMNS = (*OUTDOOR, *(f"u{slot:02d}_{channel}" for slot in range(SLOTS) for channel in INDOOR))


def create(_apps: StateApps, schema_editor: BaseDatabaseSchemaEditor) -> None:
    schema.create(schema_editor.connection, COLUMNS)


def drop(_apps: StateApps, schema_editor: BaseDatabaseSchemaEditor) -> None:
    schema.drop(schema_editor.connection)


class Migration(migrations.Migration):
    dependencies = [("fleet", "0001_initial")]
    operations = [migrations.RunPython(create, drop)]
