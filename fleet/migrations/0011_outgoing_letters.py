"""Messages may go to an address without an account, and be emptied when they are gone."""

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("fleet", "0010_people_and_notices"),
    ]

    operations = [
        migrations.AddField(
            model_name="outgoing",
            name="to",
            field=models.EmailField(blank=True, db_default="", max_length=254),
        ),
        migrations.AddField(
            model_name="outgoing",
            name="secret",
            field=models.BooleanField(db_default=False),
        ),
        migrations.AddField(
            model_name="outgoing",
            name="headers",
            field=models.JSONField(null=True),
        ),
    ]
