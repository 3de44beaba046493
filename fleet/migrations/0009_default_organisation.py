"""What was there before organisations belongs to the default one."""

from typing import Any

import django.db.models.deletion
from django.db import migrations, models

import fleet.models.organisation


def into_the_default(apps: Any, _schema_editor: Any) -> None:
    organisations = apps.get_model("fleet", "Organisation")
    home, _ = organisations.objects.get_or_create(
        code="default", defaults={"name": "Service company"}
    )
    for name in ("Client", "Membership"):
        apps.get_model("fleet", name).objects.filter(organisation=None).update(organisation=home)


class Migration(migrations.Migration):
    dependencies = [
        ("fleet", "0008_rounds_and_visits"),
    ]

    operations = [
        migrations.RunPython(into_the_default, migrations.RunPython.noop),
        *(
            # The default is Python's; nothing changes in the table.
            migrations.AlterField(
                model_name=model,
                name="organisation",
                field=models.ForeignKey(
                    default=fleet.models.organisation.default_pk,
                    null=True,
                    on_delete=django.db.models.deletion.PROTECT,
                    related_name=related_name,
                    to="fleet.organisation",
                ),
            )
            for model, related_name in (("client", "clients"), ("membership", "members"))
        ),
    ]
