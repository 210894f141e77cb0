import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):

    replaces = [
        ("equipment", "0001_initial"),
    ]

    initial = True

    dependencies = [
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.CreateModel(
            name='Position',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('name', models.CharField(max_length=60, verbose_name='position')),
                ('kind', models.CharField(choices=[('screw', 'screw'), ('die', 'die'), ('barrel', 'barrel'), ('head', 'head'), ('heater', 'heater'), ('bearing', 'bearing'), ('gearbox', 'gearbox'), ('belt', 'belt'), ('motor', 'motor'), ('magnet', 'magnet'), ('filter', 'filter'), ('other', 'other')], max_length=12)),
                ('barrel', models.CharField(blank=True, max_length=30)),
                ('share', models.DecimalField(blank=True, decimal_places=6, max_digits=15, null=True)),
                ('note', models.TextField(blank=True)),
            ],
            options={
                'ordering': ['press__code', 'name'],
            },
        ),
        migrations.CreateModel(
            name='PartType',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('code', models.CharField(max_length=60, unique=True, verbose_name='part type')),
                ('kind', models.CharField(choices=[('screw', 'screw'), ('die', 'die'), ('barrel', 'barrel'), ('head', 'head'), ('heater', 'heater'), ('bearing', 'bearing'), ('gearbox', 'gearbox'), ('belt', 'belt'), ('motor', 'motor'), ('magnet', 'magnet'), ('filter', 'filter'), ('other', 'other')], max_length=12)),
                ('size_mm', models.DecimalField(blank=True, decimal_places=6, max_digits=15, null=True)),
                ('edges', models.PositiveSmallIntegerField(default=1)),
                ('for_crops', models.CharField(blank=True, max_length=255)),
                ('dimension', models.CharField(blank=True, max_length=60)),
                ('new_mm', models.DecimalField(blank=True, decimal_places=6, max_digits=15, null=True)),
                ('limit_mm', models.DecimalField(blank=True, decimal_places=6, max_digits=15, null=True)),
                ('expected_life_kg', models.DecimalField(blank=True, decimal_places=6, max_digits=15, null=True)),
                ('expected_life_h', models.DecimalField(blank=True, decimal_places=6, max_digits=15, null=True)),
                ('lead_time_days', models.DecimalField(blank=True, decimal_places=6, max_digits=15, null=True)),
                ('unit_cost', models.DecimalField(blank=True, decimal_places=6, max_digits=15, null=True)),
                ('min_spares', models.PositiveIntegerField(blank=True, null=True)),
                ('note', models.TextField(blank=True)),
            ],
            options={
                'ordering': ['code'],
                'constraints': [models.CheckConstraint(condition=models.Q(('code', ''), _negated=True), name='part_type_has_code'), models.CheckConstraint(condition=models.Q(('kind__in', ['screw', 'die', 'barrel', 'head', 'heater', 'bearing', 'gearbox', 'belt', 'motor', 'magnet', 'filter', 'other'])), name='part_type_kind_known'), models.CheckConstraint(condition=models.Q(('edges__gte', 1), ('edges__lte', 4)), name='part_type_one_to_four_edges'), models.CheckConstraint(condition=models.Q(models.Q(('size_mm__isnull', True), ('size_mm__gt', 0), _connector='OR'), models.Q(('expected_life_kg__isnull', True), ('expected_life_kg__gt', 0), _connector='OR'), models.Q(('expected_life_h__isnull', True), ('expected_life_h__gt', 0), _connector='OR'), models.Q(('lead_time_days__isnull', True), ('lead_time_days__gte', 0), _connector='OR'), models.Q(('unit_cost__isnull', True), ('unit_cost__gte', 0), _connector='OR')), name='part_type_numbers_positive')],
            },
        ),
        migrations.CreateModel(
            name='Part',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('code', models.CharField(max_length=60, unique=True, verbose_name='part')),
                ('acquired_on', models.DateField(blank=True, null=True)),
                ('retired_on', models.DateField(blank=True, null=True)),
                ('retired_because', models.CharField(blank=True, choices=[('worn', 'worn'), ('broken', 'broken'), ('remade', 'remade into another part'), ('lost', 'lost'), ('other', 'other')], max_length=8)),
                ('note', models.TextField(blank=True)),
                ('made_from', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='made_into', to='equipment.part')),
                ('part_type', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='parts', to='equipment.parttype')),
            ],
            options={
                'ordering': ['code'],
            },
        ),
        migrations.CreateModel(
            name='Fitting',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('entered_at', models.DateTimeField(blank=True, editable=False, null=True)),
                ('voided_at', models.DateTimeField(blank=True, editable=False, null=True)),
                ('void_reason', models.TextField(blank=True, editable=False)),
                ('edge', models.CharField(blank=True, max_length=1)),
                ('fitted_at', models.DateTimeField()),
                ('removed_at', models.DateTimeField(blank=True, null=True)),
                ('entered_by', models.ForeignKey(blank=True, editable=False, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('voided_by', models.ForeignKey(blank=True, editable=False, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('part', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='fittings', to='equipment.part')),
                ('position', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='fittings', to='equipment.position')),
            ],
            options={
                'ordering': ['fitted_at', 'pk'],
            },
        ),
        migrations.CreateModel(
            name='Press',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('code', models.CharField(max_length=60, unique=True, verbose_name='press')),
                ('name', models.CharField(blank=True, max_length=120)),
                ('maker', models.CharField(blank=True, max_length=120)),
                ('model', models.CharField(blank=True, max_length=120)),
                ('serial', models.CharField(blank=True, max_length=120)),
                ('commissioned_on', models.DateField(blank=True, null=True)),
                ('retired_on', models.DateField(blank=True, null=True)),
                ('hours_from', models.CharField(blank=True, choices=[('runs', 'the runs'), ('meter', 'the hour meter')], default='', max_length=8)),
                ('note', models.TextField(blank=True)),
            ],
            options={
                'ordering': ['code'],
                'constraints': [models.CheckConstraint(condition=models.Q(('code', ''), _negated=True), name='press_has_code'), models.CheckConstraint(condition=models.Q(('hours_from', ''), ('hours_from__in', ['runs', 'meter']), _connector='OR'), name='press_hours_from')],
            },
        ),
        migrations.AddField(
            model_name='position',
            name='press',
            field=models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='positions', to='equipment.press'),
        ),
        migrations.AddConstraint(
            model_name='part',
            constraint=models.CheckConstraint(condition=models.Q(('code', ''), _negated=True), name='part_has_code'),
        ),
        migrations.AddConstraint(
            model_name='part',
            constraint=models.CheckConstraint(condition=models.Q(('retired_because', ''), ('retired_because__in', ['worn', 'broken', 'remade', 'lost', 'other']), _connector='OR'), name='part_retired_because_known'),
        ),
        migrations.AddConstraint(
            model_name='part',
            constraint=models.CheckConstraint(condition=models.Q(('retired_because', ''), ('retired_on__isnull', False), _connector='OR'), name='part_retired_with_a_day'),
        ),
        migrations.AddIndex(
            model_name='fitting',
            index=models.Index(fields=['position', 'fitted_at'], name='fitting_by_position'),
        ),
        migrations.AddConstraint(
            model_name='fitting',
            constraint=models.CheckConstraint(condition=models.Q(('edge__in', ('', 'A', 'B', 'C', 'D'))), name='fitting_edge_known'),
        ),
        migrations.AddConstraint(
            model_name='fitting',
            constraint=models.CheckConstraint(condition=models.Q(('removed_at__isnull', True), ('removed_at__gt', models.F('fitted_at')), _connector='OR'), name='fitting_ends_after_start'),
        ),
        migrations.AddConstraint(
            model_name='fitting',
            constraint=models.UniqueConstraint(condition=models.Q(('removed_at__isnull', True), ('voided_at__isnull', True)), fields=('position',), name='fitting_one_open_per_position'),
        ),
        migrations.AddConstraint(
            model_name='fitting',
            constraint=models.UniqueConstraint(condition=models.Q(('removed_at__isnull', True), ('voided_at__isnull', True)), fields=('part',), name='fitting_one_open_per_part'),
        ),
        migrations.AddConstraint(
            model_name='fitting',
            constraint=models.UniqueConstraint(condition=models.Q(('voided_at__isnull', True)), fields=('part', 'fitted_at'), name='fitting_key'),
        ),
        migrations.AddConstraint(
            model_name='position',
            constraint=models.UniqueConstraint(fields=('press', 'name'), name='position_once_per_press'),
        ),
        migrations.AddConstraint(
            model_name='position',
            constraint=models.CheckConstraint(condition=models.Q(('name', ''), _negated=True), name='position_has_name'),
        ),
        migrations.AddConstraint(
            model_name='position',
            constraint=models.CheckConstraint(condition=models.Q(('kind__in', ['screw', 'die', 'barrel', 'head', 'heater', 'bearing', 'gearbox', 'belt', 'motor', 'magnet', 'filter', 'other'])), name='position_kind_known'),
        ),
        migrations.AddConstraint(
            model_name='position',
            constraint=models.CheckConstraint(condition=models.Q(('share__isnull', True), models.Q(('share__gte', 0), ('share__lte', 1)), _connector='OR'), name='position_share_0_to_1'),
        ),
    ]
