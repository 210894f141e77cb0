"""Beside the factors of ranges, the weights of the models whose ranges are mixed."""

from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [("history", "0004_factors_of_each_side")]

    operations = [migrations.AddField("LearnedFactors", "weights", models.JSONField(null=True))]
