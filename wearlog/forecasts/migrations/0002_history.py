"""The log's versions and what it taught have moved to `history` with their tables: nothing happens in the database."""

from django.db import migrations


class Migration(migrations.Migration):

    dependencies = [
        ('forecasts', '0001_squashed'),
        ('history', '0001_initial'),
    ]

    operations = [
        migrations.SeparateDatabaseAndState(
            state_operations=[
                migrations.DeleteModel(name='LogVersion'),
                migrations.DeleteModel(name='RunsVersion'),
                migrations.DeleteModel(name='Widening'),
            ],
        ),
    ]
