"""The models moved here from `forecasts` with their tables as they stand: nothing happens in the database."""

import django.db.models.deletion
from django.db import migrations, models


class Migration(migrations.Migration):

    initial = True

    dependencies = [
        ('equipment', '0001_squashed'),
        ('forecasts', '0001_squashed'),
    ]

    operations = [
        migrations.SeparateDatabaseAndState(
            state_operations=[
                migrations.CreateModel(
                    name='LogVersion',
                    fields=[
                        ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                        ('number', models.BigIntegerField(default=0)),
                    ],
                    options={
                        'db_table': 'forecasts_logversion',
                        'constraints': [models.CheckConstraint(condition=models.Q(('pk', 1)), name='log_version_is_one')],
                    },
                ),
                migrations.CreateModel(
                    name='RunsVersion',
                    fields=[
                        ('press', models.OneToOneField(on_delete=django.db.models.deletion.CASCADE, primary_key=True, related_name='+', serialize=False, to='equipment.press')),
                        ('number', models.BigIntegerField()),
                    ],
                    options={
                        'db_table': 'forecasts_runsversion',
                    },
                ),
                migrations.CreateModel(
                    name='Widening',
                    fields=[
                        ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                        ('since', models.DateField(unique=True)),
                        ('factor', models.FloatField()),
                        ('judged', models.PositiveIntegerField()),
                        ('checked_on', models.DateField()),
                    ],
                    options={
                        'db_table': 'forecasts_widening',
                        'constraints': [models.CheckConstraint(condition=models.Q(('factor__gte', 1), ('factor__lte', 3)), name='widening_is_within_bounds')],
                    },
                ),
            ],
        ),
    ]
