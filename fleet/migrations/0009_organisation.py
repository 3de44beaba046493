"""Clients and people get an organisation. Columns may be empty, for programs of the release before."""

import django.db.models.deletion
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("fleet", "0008_rounds_and_visits"),
    ]

    operations = [
        migrations.CreateModel(
            name="Organisation",
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
        migrations.AlterField(
            model_name="client",
            name="code",
            field=models.SlugField(max_length=48),
        ),
        migrations.AddField(
            model_name="client",
            name="organisation",
            field=models.ForeignKey(
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="clients",
                to="fleet.organisation",
            ),
        ),
        migrations.AddField(
            model_name="membership",
            name="organisation",
            field=models.ForeignKey(
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="members",
                to="fleet.organisation",
            ),
        ),
        migrations.AddConstraint(
            model_name="client",
            constraint=models.UniqueConstraint(
                fields=("organisation", "code"), name="client_code_unique_in_organisation"
            ),
        ),
    ]
