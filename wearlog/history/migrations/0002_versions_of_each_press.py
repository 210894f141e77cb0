"""Each press gets versions of its runs and its due items, and each table of work gets one; until the next write all count as new."""

import django.db.models.deletion
from django.db import migrations, models
from django.db.models import F


def count_all_as_changed(apps, schema_editor):
    log_version = apps.get_model("history", "LogVersion")
    log_version.objects.update(setup=F("number"), lessons=F("number"))


class Migration(migrations.Migration):

    dependencies = [
        ("history", "0001_initial"),
        ("forecasts", "0002_history"),
    ]

    operations = [
        migrations.RenameModel("RunsVersion", "PressVersion"),
        migrations.SeparateDatabaseAndState(
            state_operations=[
                migrations.RenameField("PressVersion", "number", "runs"),
                migrations.AlterField("PressVersion", "runs", models.BigIntegerField(db_column="number")),
            ],
        ),
        migrations.AlterField(
            "PressVersion",
            "press",
            models.OneToOneField(
                on_delete=django.db.models.deletion.CASCADE,
                primary_key=True,
                related_name="version",
                serialize=False,
                to="equipment.press",
            ),
        ),
        migrations.AddField("PressVersion", "items", models.BigIntegerField(default=0, db_default=0)),
        migrations.AddField("LogVersion", "setup", models.BigIntegerField(default=0, db_default=0)),
        migrations.AddField("LogVersion", "lessons", models.BigIntegerField(default=0, db_default=0)),
        *(
            migrations.AddField("LogVersion", table, models.BigIntegerField(default=0, db_default=0))
            for table in ("parts", "fittings", "services", "measurements", "incidents")
        ),
        migrations.RunPython(count_all_as_changed, migrations.RunPython.noop),
    ]
