"""What a pooled day leaves for the days after it."""

from __future__ import annotations

from django.db import migrations, models


class Migration(migrations.Migration):
    """Empty at first: the next look at a system follows all its days once."""

    dependencies = [("fleet", "0012_what_visits_taught")]

    operations = [
        migrations.AddField(
            "pooledday",
            "judged_by",
            models.CharField(max_length=64, blank=True, default="", db_default=""),
        ),
        migrations.AddField("pooledday", "still_open", models.JSONField(null=True, blank=True)),
        migrations.AddField(
            "pooledday",
            "closed",
            models.JSONField(
                blank=True, default=list, db_default=models.Value([], models.JSONField())
            ),
        ),
    ]
