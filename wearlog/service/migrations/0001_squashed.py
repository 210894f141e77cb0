import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):

    replaces = [
        ("service", "0001_initial"),
        ("service", "0002_photos"),
    ]

    initial = True

    dependencies = [
        ("equipment", "0001_squashed"),
        ("runs", "0001_squashed"),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.CreateModel(
            name='Incident',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('entered_at', models.DateTimeField(blank=True, editable=False, null=True, verbose_name='Entered')),
                ('voided_at', models.DateTimeField(blank=True, editable=False, null=True, verbose_name='Struck out')),
                ('void_reason', models.TextField(blank=True, editable=False, verbose_name='Why it was struck out')),
                ('ref', models.CharField(max_length=60, unique=True, verbose_name='Reference')),
                ('happened_at', models.DateTimeField(verbose_name='When')),
                ('kind', models.CharField(choices=[('metal', 'metal in the seed'), ('plugged', 'plugged'), ('overheated', 'overheated'), ('tripped', 'tripped'), ('noise', 'noise'), ('leak', 'leak'), ('other', 'other')], max_length=12, verbose_name='What happened?')),
                ('note', models.TextField(blank=True, verbose_name='What was seen')),
                ('entered_by', models.ForeignKey(blank=True, editable=False, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL, verbose_name='Entered by')),
                ('position', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='incidents', to='equipment.position', verbose_name='Where?')),
                ('press', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='incidents', to='equipment.press', verbose_name='Press')),
                ('voided_by', models.ForeignKey(blank=True, editable=False, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL, verbose_name='Struck out by')),
            ],
            options={
                'ordering': ['happened_at', 'pk'],
            },
        ),
        migrations.CreateModel(
            name='LotHold',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('lot', models.CharField(blank=True, help_text="Metal holds this lot's oil and cake until somebody releases it by name.", max_length=60, verbose_name='Lot in the press')),
                ('held_at', models.DateTimeField(verbose_name='On hold since')),
                ('released_at', models.DateTimeField(blank=True, null=True, verbose_name='Released')),
                ('released_by', models.CharField(blank=True, help_text='The name of the person who looked at it and answers for it.', max_length=120, verbose_name='Released by')),
                ('reason', models.TextField(blank=True, verbose_name='Why it may be used')),
                ('incident', models.OneToOneField(on_delete=django.db.models.deletion.PROTECT, related_name='hold', to='service.incident', verbose_name='Incident')),
            ],
            options={
                'ordering': ['-held_at'],
            },
        ),
        migrations.CreateModel(
            name='Rule',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('code', models.CharField(max_length=120, unique=True, verbose_name='Name of the rule')),
                ('action', models.CharField(choices=[('inspect', 'inspect'), ('measure', 'measure'), ('clean', 'clean'), ('polish', 'polish'), ('flip', 'flip'), ('turn', 'turn'), ('replace', 'replace'), ('adjust', 'adjust'), ('lubricate', 'lubricate'), ('ream', 'ream'), ('hard-face', 'hard-face'), ('rebuild', 'rebuild'), ('repair', 'repair'), ('store', 'store')], max_length=12, verbose_name='What is to be done')),
                ('kind', models.CharField(blank=True, choices=[('screw', 'screw'), ('die', 'die'), ('barrel', 'barrel'), ('head', 'head'), ('heater', 'heater'), ('bearing', 'bearing'), ('gearbox', 'gearbox'), ('belt', 'belt'), ('motor', 'motor'), ('magnet', 'magnet'), ('filter', 'filter'), ('other', 'other')], max_length=12, verbose_name='To every fitted')),
                ('position', models.CharField(blank=True, max_length=60, verbose_name='Only on the position')),
                ('every_h', models.DecimalField(blank=True, decimal_places=6, max_digits=15, null=True, verbose_name='After hours of pressing')),
                ('every_kg', models.DecimalField(blank=True, decimal_places=6, max_digits=15, null=True, verbose_name='After seed')),
                ('every_days', models.DecimalField(blank=True, decimal_places=6, max_digits=15, null=True, verbose_name='After days')),
                ('at_limit', models.BooleanField(default=False, verbose_name='When the wear limit is reached')),
                ('on_drift', models.BooleanField(default=False, verbose_name='When the throughput drifts down')),
                ('after_incident', models.CharField(blank=True, max_length=120, verbose_name='After an incident')),
                ('lead_days', models.DecimalField(blank=True, decimal_places=6, max_digits=15, null=True, verbose_name='Say so ahead')),
                ('instructions', models.TextField(blank=True, verbose_name='How it is done here')),
                ('after_crop', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='rules', to='runs.crop', verbose_name='After the season of')),
                ('part_type', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='rules', to='equipment.parttype', verbose_name='Only to the type')),
                ('press', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='rules', to='equipment.press', verbose_name='Only on the press')),
            ],
            options={
                'ordering': ['code'],
            },
        ),
        migrations.CreateModel(
            name='Service',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('entered_at', models.DateTimeField(blank=True, editable=False, null=True, verbose_name='Entered')),
                ('voided_at', models.DateTimeField(blank=True, editable=False, null=True, verbose_name='Struck out')),
                ('void_reason', models.TextField(blank=True, editable=False, verbose_name='Why it was struck out')),
                ('ref', models.CharField(max_length=60, unique=True, verbose_name='Reference')),
                ('done_at', models.DateTimeField(verbose_name='When')),
                ('edge', models.CharField(blank=True, choices=[('A', 'A'), ('B', 'B'), ('C', 'C'), ('D', 'D')], max_length=1, verbose_name='Edge')),
                ('action', models.CharField(choices=[('inspect', 'inspect'), ('measure', 'measure'), ('clean', 'clean'), ('polish', 'polish'), ('flip', 'flip'), ('turn', 'turn'), ('replace', 'replace'), ('adjust', 'adjust'), ('lubricate', 'lubricate'), ('ream', 'ream'), ('hard-face', 'hard-face'), ('rebuild', 'rebuild'), ('repair', 'repair'), ('store', 'store')], max_length=12, verbose_name='Work')),
                ('finding', models.TextField(blank=True, verbose_name='What was found')),
                ('downtime_h', models.DecimalField(blank=True, decimal_places=6, max_digits=15, null=True, verbose_name='The press stood')),
                ('labour_h', models.DecimalField(blank=True, decimal_places=6, max_digits=15, null=True, verbose_name='Hours of work')),
                ('cost', models.DecimalField(blank=True, decimal_places=6, max_digits=15, null=True, verbose_name='Paid for it')),
                ('done_by', models.CharField(blank=True, max_length=120, verbose_name='Done by')),
                ('note', models.TextField(blank=True, verbose_name='Note')),
                ('entered_by', models.ForeignKey(blank=True, editable=False, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL, verbose_name='Entered by')),
                ('part', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='services', to='equipment.part', verbose_name='Part')),
                ('position', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='services', to='equipment.position', verbose_name='Position')),
                ('press', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='services', to='equipment.press', verbose_name='Press')),
                ('rule', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='services', to='service.rule', verbose_name='Counts for the rule')),
                ('voided_by', models.ForeignKey(blank=True, editable=False, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL, verbose_name='Struck out by')),
            ],
            options={
                'ordering': ['done_at', 'pk'],
            },
        ),
        migrations.CreateModel(
            name='Photo',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('name', models.CharField(max_length=32, unique=True)),
                ('digest', models.CharField(max_length=64)),
                ('width', models.PositiveIntegerField()),
                ('height', models.PositiveIntegerField()),
                ('size_bytes', models.PositiveIntegerField()),
                ('entered_at', models.DateTimeField()),
                ('entered_by', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('incident', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='photos', to='service.incident')),
                ('note', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='photos', to='runs.shiftnote')),
                ('service', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='photos', to='service.service')),
            ],
        ),
        migrations.CreateModel(
            name='Measurement',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('entered_at', models.DateTimeField(blank=True, editable=False, null=True, verbose_name='Entered')),
                ('voided_at', models.DateTimeField(blank=True, editable=False, null=True, verbose_name='Struck out')),
                ('void_reason', models.TextField(blank=True, editable=False, verbose_name='Why it was struck out')),
                ('ref', models.CharField(max_length=60, unique=True, verbose_name='Reference')),
                ('measured_at', models.DateTimeField(verbose_name='When')),
                ('edge', models.CharField(blank=True, choices=[('A', 'A'), ('B', 'B'), ('C', 'C'), ('D', 'D')], max_length=1, verbose_name='Edge')),
                ('value_mm', models.DecimalField(decimal_places=6, max_digits=15, verbose_name='Measured')),
                ('place', models.CharField(blank=True, help_text='Such as: flight 3', max_length=60, verbose_name='Place')),
                ('bound', models.CharField(blank=True, choices=[('at_least', 'at least (the pin went in)'), ('below', 'below (the pin did not go in)')], max_length=8, verbose_name='The gauge gave')),
                ('phase', models.CharField(blank=True, choices=[('before', 'before the work'), ('after', 'after the work')], max_length=6, verbose_name='Before or after work')),
                ('gauge', models.CharField(blank=True, max_length=60, verbose_name='Gauge used')),
                ('note', models.TextField(blank=True, verbose_name='Note')),
                ('entered_by', models.ForeignKey(blank=True, editable=False, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL, verbose_name='Entered by')),
                ('part', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='measurements', to='equipment.part', verbose_name='Part')),
                ('voided_by', models.ForeignKey(blank=True, editable=False, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL, verbose_name='Struck out by')),
                ('service', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='measurements', to='service.service', verbose_name='The work that it belongs to')),
            ],
            options={
                'ordering': ['measured_at', 'pk'],
            },
        ),
        migrations.CreateModel(
            name='CropChange',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('signed_by', models.CharField(help_text='The person who cleaned and answers for it.', max_length=120, verbose_name='Signed by')),
                ('purge_kg', models.DecimalField(blank=True, decimal_places=6, max_digits=15, null=True, verbose_name='Purge seed')),
                ('from_crop', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='runs.crop', verbose_name='From')),
                ('to_crop', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='runs.crop', verbose_name='To')),
                ('service', models.OneToOneField(on_delete=django.db.models.deletion.PROTECT, related_name='crop_change', to='service.service', verbose_name='The work that it belongs to')),
            ],
        ),
        migrations.AddConstraint(
            model_name='incident',
            constraint=models.CheckConstraint(condition=models.Q(('ref', ''), _negated=True), name='incident_has_ref'),
        ),
        migrations.AddConstraint(
            model_name='incident',
            constraint=models.CheckConstraint(condition=models.Q(('kind__in', ['metal', 'plugged', 'overheated', 'tripped', 'noise', 'leak', 'other'])), name='incident_kind_known'),
        ),
        migrations.AddConstraint(
            model_name='lothold',
            constraint=models.CheckConstraint(condition=models.Q(('released_at__isnull', True), models.Q(models.Q(('released_by', ''), _negated=True), models.Q(('reason', ''), _negated=True)), _connector='OR'), name='hold_released_by_name_with_reason'),
        ),
        migrations.AddConstraint(
            model_name='rule',
            constraint=models.CheckConstraint(condition=models.Q(('code', ''), _negated=True), name='rule_has_code'),
        ),
        migrations.AddConstraint(
            model_name='rule',
            constraint=models.CheckConstraint(condition=models.Q(('action__in', ['inspect', 'measure', 'clean', 'polish', 'flip', 'turn', 'replace', 'adjust', 'lubricate', 'ream', 'hard-face', 'rebuild', 'repair', 'store'])), name='rule_action_known'),
        ),
        migrations.AddConstraint(
            model_name='rule',
            constraint=models.CheckConstraint(condition=models.Q(('kind', ''), ('kind__in', ['screw', 'die', 'barrel', 'head', 'heater', 'bearing', 'gearbox', 'belt', 'motor', 'magnet', 'filter', 'other']), _connector='OR'), name='rule_kind_known'),
        ),
        migrations.AddConstraint(
            model_name='rule',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('every_h__isnull', True), ('every_h__gt', 0), _connector='OR'), models.Q(('every_kg__isnull', True), ('every_kg__gt', 0), _connector='OR'), models.Q(('every_days__isnull', True), ('every_days__gt', 0), _connector='OR'), models.Q(('lead_days__isnull', True), ('lead_days__gte', 0), _connector='OR')), name='rule_intervals_positive'),
        ),
        migrations.AddIndex(
            model_name='service',
            index=models.Index(fields=['press', 'done_at'], name='service_by_press'),
        ),
        migrations.AddConstraint(
            model_name='service',
            constraint=models.CheckConstraint(condition=models.Q(('ref', ''), _negated=True), name='service_has_ref'),
        ),
        migrations.AddConstraint(
            model_name='service',
            constraint=models.CheckConstraint(condition=models.Q(('action__in', ['inspect', 'measure', 'clean', 'polish', 'flip', 'turn', 'replace', 'adjust', 'lubricate', 'ream', 'hard-face', 'rebuild', 'repair', 'store'])), name='service_action_known'),
        ),
        migrations.AddConstraint(
            model_name='service',
            constraint=models.CheckConstraint(condition=models.Q(('edge__in', ('', 'A', 'B', 'C', 'D'))), name='service_edge_known'),
        ),
        migrations.AddConstraint(
            model_name='service',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('downtime_h__isnull', True), ('downtime_h__gte', 0), _connector='OR'), models.Q(('labour_h__isnull', True), ('labour_h__gte', 0), _connector='OR')), name='service_hours_not_negative'),
        ),
        migrations.AddConstraint(
            model_name='photo',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('incident__isnull', True), ('note__isnull', True), ('service__isnull', False)), models.Q(('incident__isnull', False), ('note__isnull', True), ('service__isnull', True)), models.Q(('incident__isnull', True), ('note__isnull', False), ('service__isnull', True)), _connector='OR'), name='photo_has_one_record'),
        ),
        migrations.AddConstraint(
            model_name='photo',
            constraint=models.UniqueConstraint(condition=models.Q(('service__isnull', False)), fields=('service', 'digest'), name='photo_once_of_work'),
        ),
        migrations.AddConstraint(
            model_name='photo',
            constraint=models.UniqueConstraint(condition=models.Q(('incident__isnull', False)), fields=('incident', 'digest'), name='photo_once_of_incident'),
        ),
        migrations.AddConstraint(
            model_name='photo',
            constraint=models.UniqueConstraint(condition=models.Q(('note__isnull', False)), fields=('note', 'digest'), name='photo_once_of_note'),
        ),
        migrations.AddIndex(
            model_name='measurement',
            index=models.Index(fields=['part', 'measured_at'], name='measurement_by_part'),
        ),
        migrations.AddConstraint(
            model_name='measurement',
            constraint=models.CheckConstraint(condition=models.Q(('ref', ''), _negated=True), name='measurement_has_ref'),
        ),
        migrations.AddConstraint(
            model_name='measurement',
            constraint=models.CheckConstraint(condition=models.Q(('value_mm__gte', 0)), name='measurement_not_negative'),
        ),
        migrations.AddConstraint(
            model_name='measurement',
            constraint=models.CheckConstraint(condition=models.Q(('edge__in', ('', 'A', 'B', 'C', 'D'))), name='measurement_edge_known'),
        ),
        migrations.AddConstraint(
            model_name='measurement',
            constraint=models.CheckConstraint(condition=models.Q(('bound', ''), ('bound__in', ['at_least', 'below']), _connector='OR'), name='measurement_bound_known'),
        ),
        migrations.AddConstraint(
            model_name='measurement',
            constraint=models.CheckConstraint(condition=models.Q(('phase', ''), ('phase__in', ['before', 'after']), _connector='OR'), name='measurement_phase_known'),
        ),
        migrations.AddConstraint(
            model_name='cropchange',
            constraint=models.CheckConstraint(condition=models.Q(('signed_by', ''), _negated=True), name='crop_change_is_signed'),
        ),
    ]
