import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):

    replaces = [
        ("logbook", "0001_imports"),
    ]

    initial = True

    dependencies = [
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.CreateModel(
            name='ImportJob',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('file', models.CharField(max_length=64)),
                ('name', models.CharField(max_length=255)),
                ('only_check', models.BooleanField()),
                ('on_conflict', models.CharField(blank=True, max_length=8)),
                ('language', models.CharField(max_length=12)),
                ('asked_at', models.DateTimeField()),
                ('ended_at', models.DateTimeField(null=True)),
                ('state', models.CharField(choices=[('waiting', 'waiting'), ('checking', 'being checked'), ('storing', 'being stored'), ('done', 'done'), ('refused', 'refused'), ('cancelled', 'cancelled'), ('broken', 'broken off')], default='waiting', max_length=10)),
                ('doing', models.CharField(blank=True, max_length=80)),
                ('done_rows', models.PositiveIntegerField(default=0)),
                ('total_rows', models.PositiveIntegerField(default=0)),
                ('holder', models.CharField(blank=True, max_length=40)),
                ('leased_until', models.DateTimeField(null=True)),
                ('tries', models.PositiveSmallIntegerField(default=0)),
                ('counts', models.JSONField(null=True)),
                ('said', models.TextField(blank=True)),
                ('groups', models.JSONField(default=list)),
                ('problems', models.PositiveIntegerField(default=0)),
                ('by', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
            ],
            options={
                'ordering': ['-asked_at', '-pk'],
                'constraints': [models.CheckConstraint(condition=models.Q(('state__in', ['waiting', 'checking', 'storing', 'done', 'refused', 'cancelled', 'broken'])), name='import_state_known'), models.CheckConstraint(condition=models.Q(models.Q(('ended_at__isnull', False), ('state__in', ('done', 'refused', 'cancelled', 'broken'))), models.Q(models.Q(('state__in', ('done', 'refused', 'cancelled', 'broken')), _negated=True), ('ended_at__isnull', True)), _connector='OR'), name='import_ended_has_time')],
            },
        ),
    ]
