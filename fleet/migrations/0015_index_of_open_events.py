"""The list of what to look at next asks for open events only; closed ones pile up."""

from __future__ import annotations

from django.db import migrations, models


class Migration(migrations.Migration):
    """Adds the index; the release before works with it as without."""

    dependencies = [("fleet", "0014_record_stays")]
    operations = [
        migrations.AddIndex(
            "event",
            models.Index(
                fields=("-opened_at",),
                condition=models.Q(closed_at=None, withdrawn=False),
                name="event_open",
            ),
        ),
    ]
