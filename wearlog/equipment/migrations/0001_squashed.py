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
                ('name', models.CharField(max_length=60, verbose_name='Position')),
                ('kind', models.CharField(choices=[('screw', 'screw'), ('die', 'die'), ('barrel', 'barrel'), ('head', 'head'), ('heater', 'heater'), ('bearing', 'bearing'), ('gearbox', 'gearbox'), ('belt', 'belt'), ('motor', 'motor'), ('magnet', 'magnet'), ('filter', 'filter'), ('other', 'other')], max_length=12, verbose_name='Kind of part')),
                ('barrel', models.CharField(blank=True, help_text='Only where the press has two: left, right.', max_length=30, verbose_name='Barrel')),
                ('share', models.DecimalField(blank=True, decimal_places=6, help_text="From 0 to 1, where the barrels of a twin don't take the same. Empty: evenly.", max_digits=15, null=True, verbose_name='Part of the seed')),
                ('note', models.TextField(blank=True, verbose_name='Note')),
            ],
            options={
                'ordering': ['press__code', 'name'],
            },
        ),
        migrations.CreateModel(
            name='PartType',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('code', models.CharField(max_length=60, unique=True, verbose_name='Name')),
                ('kind', models.CharField(choices=[('screw', 'screw'), ('die', 'die'), ('barrel', 'barrel'), ('head', 'head'), ('heater', 'heater'), ('bearing', 'bearing'), ('gearbox', 'gearbox'), ('belt', 'belt'), ('motor', 'motor'), ('magnet', 'magnet'), ('filter', 'filter'), ('other', 'other')], max_length=12, verbose_name='Kind')),
                ('size_mm', models.DecimalField(blank=True, decimal_places=6, max_digits=15, null=True, verbose_name='Size')),
                ('edges', models.PositiveSmallIntegerField(default=1, help_text='A die that can be flipped has 2.', verbose_name='Edges')),
                ('for_crops', models.CharField(blank=True, help_text='None ticked: for all.', max_length=255, verbose_name='For the crops')),
                ('dimension', models.CharField(blank=True, help_text='Such as: bore, flight width.', max_length=60, verbose_name='What is gauged')),
                ('new_mm', models.DecimalField(blank=True, decimal_places=6, max_digits=15, null=True, verbose_name='New')),
                ('limit_mm', models.DecimalField(blank=True, decimal_places=6, help_text='Above new for a bore that opens, below for what wears off.', max_digits=15, null=True, verbose_name='Limit')),
                ('expected_life_kg', models.DecimalField(blank=True, decimal_places=6, max_digits=15, null=True, verbose_name='Expected life of an edge, seed')),
                ('expected_life_h', models.DecimalField(blank=True, decimal_places=6, max_digits=15, null=True, verbose_name='Expected life of an edge, hours')),
                ('lead_time_days', models.DecimalField(blank=True, decimal_places=6, max_digits=15, null=True, verbose_name='Time to get a new one')),
                ('unit_cost', models.DecimalField(blank=True, decimal_places=6, max_digits=15, null=True, verbose_name='Price of one')),
                ('min_spares', models.PositiveIntegerField(blank=True, null=True, verbose_name='Spares to keep')),
                ('note', models.TextField(blank=True, verbose_name='Note')),
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
                ('code', models.CharField(max_length=60, unique=True, verbose_name='Mark on the part')),
                ('acquired_on', models.DateField(blank=True, null=True, verbose_name='Bought or made on')),
                ('retired_on', models.DateField(blank=True, help_text='Empty: it is in service.', null=True, verbose_name='Retired on')),
                ('retired_because', models.CharField(blank=True, choices=[('worn', 'worn'), ('broken', 'broken'), ('remade', 'remade into another part'), ('lost', 'lost'), ('other', 'other')], max_length=8, verbose_name='Retired because')),
                ('note', models.TextField(blank=True, verbose_name='Note')),
                ('made_from', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='made_into', to='equipment.part', verbose_name='Made from')),
                ('part_type', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='parts', to='equipment.parttype', verbose_name='Type')),
            ],
            options={
                'ordering': ['code'],
            },
        ),
        migrations.CreateModel(
            name='Fitting',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('entered_at', models.DateTimeField(blank=True, editable=False, null=True, verbose_name='Entered')),
                ('voided_at', models.DateTimeField(blank=True, editable=False, null=True, verbose_name='Struck out')),
                ('void_reason', models.TextField(blank=True, editable=False, verbose_name='Why it was struck out')),
                ('edge', models.CharField(blank=True, choices=[('A', 'A'), ('B', 'B'), ('C', 'C'), ('D', 'D')], max_length=1, verbose_name='Edge')),
                ('fitted_at', models.DateTimeField(verbose_name='Fitted')),
                ('removed_at', models.DateTimeField(blank=True, null=True, verbose_name='Taken off')),
                ('entered_by', models.ForeignKey(blank=True, editable=False, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL, verbose_name='Entered by')),
                ('voided_by', models.ForeignKey(blank=True, editable=False, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL, verbose_name='Struck out by')),
                ('part', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='fittings', to='equipment.part', verbose_name='Part')),
                ('position', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='fittings', to='equipment.position', verbose_name='Position')),
            ],
            options={
                'ordering': ['fitted_at', 'pk'],
            },
        ),
        migrations.CreateModel(
            name='Press',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('code', models.CharField(help_text='As people call it: P1. It stands in lists and files.', max_length=60, unique=True, verbose_name='Short name')),
                ('name', models.CharField(blank=True, max_length=120, verbose_name='Name')),
                ('maker', models.CharField(blank=True, max_length=120, verbose_name='Maker')),
                ('model', models.CharField(blank=True, max_length=120, verbose_name='Model')),
                ('serial', models.CharField(blank=True, max_length=120, verbose_name='Serial number')),
                ('commissioned_on', models.DateField(blank=True, null=True, verbose_name='At work since')),
                ('retired_on', models.DateField(blank=True, help_text='Empty: it is in use.', null=True, verbose_name='Retired on')),
                ('hours_from', models.CharField(blank=True, choices=[('runs', 'the runs'), ('meter', 'the hour meter')], default='', max_length=8, verbose_name='Hours count from')),
                ('note', models.TextField(blank=True, verbose_name='Note')),
            ],
            options={
                'ordering': ['code'],
                'constraints': [models.CheckConstraint(condition=models.Q(('code', ''), _negated=True), name='press_has_code'), models.CheckConstraint(condition=models.Q(('hours_from', ''), ('hours_from__in', ['runs', 'meter']), _connector='OR'), name='press_hours_from')],
            },
        ),
        migrations.AddField(
            model_name='position',
            name='press',
            field=models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='positions', to='equipment.press', verbose_name='Press'),
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
