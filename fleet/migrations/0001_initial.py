"""Creates the relational tables."""

import uuid

import django.contrib.postgres.fields
import django.db.models.constraints
import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):
    initial = True

    dependencies = [
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.CreateModel(
            name="Client",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("code", models.SlugField(max_length=48, unique=True)),
                ("name", models.CharField(max_length=200)),
            ],
            options={
                "ordering": ("name",),
            },
        ),
        migrations.CreateModel(
            name="Event",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("condition", models.CharField(max_length=24)),
                ("opened_at", models.DateTimeField()),
                ("closed_at", models.DateTimeField(blank=True, null=True)),
                ("last_window", models.DateTimeField()),
                ("peak_probability", models.FloatField()),
                ("peak_at", models.DateTimeField()),
                (
                    "state",
                    models.CharField(
                        choices=[
                            ("unack_active", "active, unacknowledged"),
                            ("ack_active", "active, acknowledged"),
                            ("rtn_unack", "returned to normal, unacknowledged"),
                            ("normal", "returned to normal"),
                            ("shelved", "shelved"),
                            ("out_of_service", "out of service"),
                        ],
                        default="unack_active",
                        max_length=16,
                    ),
                ),
                ("verdict", models.JSONField(default=dict)),
                ("why", models.CharField(default="", max_length=300)),
                ("method_version", models.PositiveIntegerField(default=0)),
                ("shelved_until", models.DateTimeField(blank=True, null=True)),
                ("shelved_reason", models.CharField(blank=True, max_length=300)),
                ("withdrawn", models.BooleanField(default=False)),
                (
                    "assignee",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.SET_NULL,
                        related_name="events",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
            ],
            options={
                "ordering": ("-opened_at",),
            },
        ),
        migrations.CreateModel(
            name="EventNote",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("written_at", models.DateTimeField(auto_now_add=True)),
                ("text", models.TextField(max_length=4000)),
                (
                    "author",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.SET_NULL,
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "event",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="notes",
                        to="fleet.event",
                    ),
                ),
            ],
            options={
                "ordering": ("written_at",),
            },
        ),
        migrations.CreateModel(
            name="Membership",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                (
                    "role",
                    models.CharField(
                        choices=[
                            ("manager", "service manager"),
                            ("account_rep", "account rep"),
                            ("technician", "technician"),
                        ],
                        max_length=16,
                    ),
                ),
                (
                    "clients",
                    models.ManyToManyField(blank=True, related_name="members", to="fleet.client"),
                ),
                (
                    "user",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="membership",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
            ],
        ),
        migrations.CreateModel(
            name="Site",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("code", models.SlugField(max_length=48, unique=True)),
                ("name", models.CharField(max_length=200)),
                ("timezone", models.CharField(max_length=64)),
                ("altitude_m", models.FloatField(default=0.0)),
                (
                    "client",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="sites",
                        to="fleet.client",
                    ),
                ),
            ],
            options={
                "ordering": ("name",),
            },
        ),
        migrations.CreateModel(
            name="SiteVisit",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("visited_on", models.DateField()),
                (
                    "outcome",
                    models.CharField(
                        choices=[
                            ("confirmed", "suspicion confirmed"),
                            ("other_cause", "other cause found"),
                            ("nothing_found", "nothing found"),
                        ],
                        max_length=16,
                    ),
                ),
                ("found_condition", models.CharField(blank=True, max_length=24)),
                ("remark", models.TextField(blank=True, max_length=4000)),
                (
                    "event",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="visits",
                        to="fleet.event",
                    ),
                ),
                (
                    "visitor",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.SET_NULL,
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
            ],
            options={
                "ordering": ("-visited_on",),
            },
        ),
        migrations.CreateModel(
            name="System",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("code", models.CharField(max_length=24)),
                ("refrigerant", models.CharField(max_length=12)),
                ("cooling_capacity_w", models.FloatField()),
                ("compressor_displacement_m3", models.FloatField()),
                ("compressor_max_speed_rps", models.FloatField()),
                ("motor_pole_pairs", models.FloatField(blank=True, null=True)),
                ("subcooler_valve_full_pulses", models.FloatField()),
                ("subcooler_valve_full_area_m2", models.FloatField(blank=True, null=True)),
                ("subcooler_branch_side", models.CharField(blank=True, max_length=16, null=True)),
                ("rated_charge_kg", models.FloatField(blank=True, null=True)),
                ("liquid_lines", models.JSONField(blank=True, default=list)),
                (
                    "site",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="systems",
                        to="fleet.site",
                    ),
                ),
            ],
            options={
                "ordering": ("site__code", "code"),
            },
        ),
        migrations.CreateModel(
            name="Standing",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("at", models.DateTimeField()),
                ("last_sample", models.DateTimeField(blank=True, null=True)),
                ("method_version", models.PositiveIntegerField(default=0)),
                ("score", models.FloatField(db_index=True, default=0.0)),
                ("leading", models.CharField(max_length=24)),
                ("coverage", models.FloatField(default=0.0)),
                ("urgent", models.BooleanField(default=False)),
                (
                    "conditions",
                    django.contrib.postgres.fields.ArrayField(
                        base_field=models.FloatField(), default=list, size=None
                    ),
                ),
                ("why", models.CharField(max_length=300)),
                ("verdict", models.JSONField(default=dict)),
                (
                    "system",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="standing",
                        to="fleet.system",
                    ),
                ),
            ],
        ),
        migrations.CreateModel(
            name="IndoorUnit",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("slot", models.PositiveSmallIntegerField()),
                ("code", models.CharField(max_length=24)),
                ("cooling_capacity_w", models.FloatField()),
                ("room", models.CharField(blank=True, max_length=120)),
                ("room_volume_m3", models.FloatField(blank=True, null=True)),
                ("elevation_m", models.FloatField(blank=True, null=True)),
                ("retired", models.BooleanField(default=False)),
                (
                    "system",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="indoor_units",
                        to="fleet.system",
                    ),
                ),
            ],
            options={
                "ordering": ("slot",),
            },
        ),
        migrations.AddField(
            model_name="event",
            name="system",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.CASCADE,
                related_name="events",
                to="fleet.system",
            ),
        ),
        migrations.CreateModel(
            name="DueDay",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("day", models.DateField()),
                ("generation", models.PositiveBigIntegerField(default=1)),
                ("analysed_generation", models.PositiveBigIntegerField(default=0)),
                ("attempts", models.PositiveSmallIntegerField(default=0)),
                ("retry_at", models.DateTimeField(blank=True, null=True)),
                ("failure", models.TextField(blank=True)),
                (
                    "system",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="due_days",
                        to="fleet.system",
                    ),
                ),
            ],
        ),
        migrations.CreateModel(
            name="Upload",
            fields=[
                (
                    "id",
                    models.UUIDField(
                        default=uuid.uuid4, editable=False, primary_key=True, serialize=False
                    ),
                ),
                ("name", models.CharField(max_length=255)),
                ("sha256", models.CharField(max_length=64)),
                ("body", models.BinaryField()),
                ("replace", models.BooleanField(default=False)),
                (
                    "state",
                    models.CharField(
                        choices=[
                            ("stored", "Stored"),
                            ("taken_in", "Taken In"),
                            ("analysed", "Analysed"),
                            ("refused", "Refused"),
                        ],
                        db_index=True,
                        default="stored",
                        max_length=12,
                    ),
                ),
                ("received_at", models.DateTimeField(auto_now_add=True)),
                ("attempts", models.PositiveSmallIntegerField(default=0)),
                ("retry_at", models.DateTimeField(blank=True, null=True)),
                ("rows_accepted", models.PositiveIntegerField(default=0)),
                ("rows_left_out", models.PositiveIntegerField(default=0)),
                ("cells_left_out", models.PositiveIntegerField(default=0)),
                ("cells_differing", models.PositiveIntegerField(default=0)),
                ("cells_replaced", models.PositiveIntegerField(default=0)),
                ("unknown_columns", models.JSONField(default=list)),
                ("reasons", models.JSONField(default=list)),
                ("first_sample", models.DateTimeField(blank=True, null=True)),
                ("last_sample", models.DateTimeField(blank=True, null=True)),
                (
                    "system",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="uploads",
                        to="fleet.system",
                    ),
                ),
            ],
        ),
        migrations.CreateModel(
            name="Window",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("start", models.DateTimeField()),
                ("method_version", models.PositiveIntegerField()),
                (
                    "features",
                    django.contrib.postgres.fields.ArrayField(
                        base_field=models.FloatField(), size=None
                    ),
                ),
                (
                    "system",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="windows",
                        to="fleet.system",
                    ),
                ),
            ],
        ),
        migrations.AddConstraint(
            model_name="system",
            constraint=models.UniqueConstraint(
                fields=("site", "code"), name="system_code_unique_in_site"
            ),
        ),
        migrations.AddConstraint(
            model_name="indoorunit",
            constraint=models.UniqueConstraint(
                fields=("system", "code"), name="indoor_code_unique"
            ),
        ),
        migrations.AddConstraint(
            model_name="indoorunit",
            constraint=models.UniqueConstraint(
                fields=("system", "slot"), name="indoor_slot_unique"
            ),
        ),
        migrations.AddConstraint(
            model_name="event",
            constraint=models.UniqueConstraint(
                deferrable=django.db.models.constraints.Deferrable["DEFERRED"],
                fields=("system", "condition", "opened_at"),
                name="event_unique",
            ),
        ),
        migrations.AddConstraint(
            model_name="dueday",
            constraint=models.UniqueConstraint(fields=("system", "day"), name="due_day_unique"),
        ),
        migrations.AddConstraint(
            model_name="upload",
            constraint=models.UniqueConstraint(
                fields=("system", "sha256", "replace"), name="upload_bytes_known_once"
            ),
        ),
        migrations.AddConstraint(
            model_name="window",
            constraint=models.UniqueConstraint(fields=("system", "start"), name="window_unique"),
        ),
    ]
