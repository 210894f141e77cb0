"""What the track record asks for is kept for each side of a range, and for each part type that has its own.

The rows from before say one factor for both sides of all kinds."""

import django.db.models.deletion
from django.db import migrations, models
from django.db.models import F, Q


def use_for_both_sides(apps, schema_editor):
    apps.get_model("history", "LearnedFactors").objects.update(early=F("factor"), late=F("factor"))


class Migration(migrations.Migration):

    dependencies = [
        ("equipment", "0003_parts_of_cage_presses"),
        ("history", "0003_sealed_runs"),
    ]

    operations = [
        migrations.RenameModel("Widening", "LearnedFactors"),
        migrations.RemoveConstraint("LearnedFactors", "widening_is_within_bounds"),
        migrations.AlterField("LearnedFactors", "since", models.DateField()),
        migrations.AlterField("LearnedFactors", "factor", models.FloatField(default=1.0, db_default=1.0)),
        migrations.AddField(
            "LearnedFactors",
            "part_type",
            models.ForeignKey(
                null=True,
                on_delete=django.db.models.deletion.CASCADE,
                related_name="+",
                to="equipment.parttype",
            ),
        ),
        migrations.AddField("LearnedFactors", "early", models.FloatField(default=1.0, db_default=1.0)),
        migrations.AddField("LearnedFactors", "late", models.FloatField(default=1.0, db_default=1.0)),
        migrations.RunPython(use_for_both_sides, migrations.RunPython.noop),
        migrations.AddConstraint(
            "LearnedFactors",
            models.UniqueConstraint(fields=["since", "part_type"], name="factors_of_a_type_once_a_day"),
        ),
        migrations.AddConstraint(
            "LearnedFactors",
            models.UniqueConstraint(
                condition=Q(part_type=None), fields=["since"], name="pooled_factors_once_a_day"
            ),
        ),
        migrations.AddConstraint(
            "LearnedFactors",
            models.CheckConstraint(
                condition=Q(early__gte=0.5, early__lte=3, late__gte=0.5, late__lte=3),
                name="factors_are_within_bounds",
            ),
        ),
    ]
