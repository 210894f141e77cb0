import django.db.models.deletion
from django.db import migrations, models


class Migration(migrations.Migration):

    replaces = [
        ("forecasts", "0001_initial"),
        ("forecasts", "0002_standings"),
        ("forecasts", "0003_replays"),
    ]

    initial = True

    dependencies = [
        ("equipment", "0001_squashed"),
    ]

    operations = [
        migrations.CreateModel(
            name='Replay',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('day', models.DateField(unique=True)),
                ('fingerprint', models.CharField(max_length=64)),
                ('said', models.JSONField()),
                ('checked_on', models.DateField()),
            ],
        ),
        migrations.CreateModel(
            name='RunsVersion',
            fields=[
                ('press', models.OneToOneField(on_delete=django.db.models.deletion.CASCADE, primary_key=True, related_name='+', serialize=False, to='equipment.press')),
                ('number', models.BigIntegerField()),
            ],
        ),
        migrations.CreateModel(
            name='LogVersion',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('number', models.BigIntegerField(default=0)),
            ],
            options={
                'constraints': [models.CheckConstraint(condition=models.Q(('pk', 1)), name='log_version_is_one')],
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
                'constraints': [models.CheckConstraint(condition=models.Q(('factor__gte', 1), ('factor__lte', 3)), name='widening_is_within_bounds')],
            },
        ),
        migrations.CreateModel(
            name='Standing',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('as_of', models.DateField()),
                ('language', models.CharField(max_length=12)),
                ('log_version', models.BigIntegerField()),
                ('fingerprint', models.CharField(max_length=64)),
                ('items', models.JSONField()),
                ('made_at', models.DateTimeField()),
                ('press', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='+', to='equipment.press')),
            ],
            options={
                'constraints': [models.UniqueConstraint(fields=('press', 'as_of', 'language'), name='standing_is_one_per_press')],
            },
        ),
    ]
