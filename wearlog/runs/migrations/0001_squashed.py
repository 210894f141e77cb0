import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):

    replaces = [
        ("runs", "0001_initial"),
        ("runs", "0002_running_index"),
        ("runs", "0003_seed_how"),
        ("runs", "0004_added_columns_have_defaults"),
    ]

    initial = True

    dependencies = [
        ("equipment", "0001_squashed"),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.CreateModel(
            name='Crop',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('code', models.CharField(max_length=60, unique=True, verbose_name='crop')),
                ('bushel_kg', models.DecimalField(blank=True, decimal_places=6, max_digits=15, null=True)),
                ('note', models.TextField(blank=True)),
            ],
            options={
                'ordering': ['code'],
                'constraints': [models.CheckConstraint(condition=models.Q(models.Q(('code', ''), _negated=True), models.Q(('code__contains', ' '), _negated=True)), name='crop_code_is_a_tag'), models.CheckConstraint(condition=models.Q(('bushel_kg__isnull', True), ('bushel_kg__gt', 0), _connector='OR'), name='crop_bushel_positive')],
            },
        ),
        migrations.CreateModel(
            name='Price',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('item', models.CharField(max_length=40)),
                ('from_on', models.DateField()),
                ('price', models.DecimalField(decimal_places=6, max_digits=15)),
            ],
            options={
                'ordering': ['item', 'from_on'],
                'constraints': [models.UniqueConstraint(fields=('item', 'from_on'), name='price_key'), models.CheckConstraint(condition=models.Q(('item', ''), _negated=True), name='price_has_item')],
            },
        ),
        migrations.CreateModel(
            name='PlanEntry',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('start_on', models.DateField()),
                ('end_on', models.DateField()),
                ('seed_kg', models.DecimalField(decimal_places=6, max_digits=15)),
                ('planned_on', models.DateField(blank=True, null=True)),
                ('crop', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='plan', to='runs.crop')),
                ('press', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='plan', to='equipment.press')),
            ],
            options={
                'ordering': ['press__code', 'crop__code', 'start_on'],
                'constraints': [models.UniqueConstraint(fields=('press', 'crop', 'start_on'), name='plan_key'), models.CheckConstraint(condition=models.Q(('end_on__gte', models.F('start_on'))), name='plan_ends_after_start'), models.CheckConstraint(condition=models.Q(('seed_kg__gte', 0)), name='plan_seed_not_negative')],
            },
        ),
        migrations.CreateModel(
            name='Reading',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('entered_at', models.DateTimeField(blank=True, editable=False, null=True)),
                ('voided_at', models.DateTimeField(blank=True, editable=False, null=True)),
                ('void_reason', models.TextField(blank=True, editable=False)),
                ('read_at', models.DateTimeField()),
                ('meter_h', models.DecimalField(decimal_places=6, max_digits=15)),
                ('kind', models.CharField(choices=[('reading', 'reading'), ('new_meter', 'new meter')], default='reading', max_length=10)),
                ('entered_by', models.ForeignKey(blank=True, editable=False, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('press', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='readings', to='equipment.press')),
                ('voided_by', models.ForeignKey(blank=True, editable=False, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
            ],
            options={
                'ordering': ['press__code', 'read_at'],
                'constraints': [models.UniqueConstraint(condition=models.Q(('voided_at__isnull', True)), fields=('press', 'read_at'), name='reading_key'), models.CheckConstraint(condition=models.Q(('meter_h__gte', 0)), name='reading_not_negative'), models.CheckConstraint(condition=models.Q(('kind__in', ['reading', 'new_meter'])), name='reading_kind_known')],
            },
        ),
        migrations.CreateModel(
            name='Run',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('entered_at', models.DateTimeField(blank=True, editable=False, null=True)),
                ('voided_at', models.DateTimeField(blank=True, editable=False, null=True)),
                ('void_reason', models.TextField(blank=True, editable=False)),
                ('ref', models.CharField(max_length=60, unique=True)),
                ('lot', models.CharField(blank=True, max_length=60)),
                ('started_at', models.DateTimeField()),
                ('ended_at', models.DateTimeField(blank=True, null=True)),
                ('hours_h', models.DecimalField(blank=True, decimal_places=6, max_digits=15, null=True)),
                ('seed_kg', models.DecimalField(decimal_places=6, max_digits=15)),
                ('seed_how', models.CharField(blank=True, choices=[('', 'weighed'), ('about', 'about'), ('worked_out', 'worked out')], db_default='', default='', max_length=10)),
                ('oil_kg', models.DecimalField(blank=True, decimal_places=6, max_digits=15, null=True)),
                ('cake_kg', models.DecimalField(blank=True, decimal_places=6, max_digits=15, null=True)),
                ('foots_kg', models.DecimalField(blank=True, decimal_places=6, max_digits=15, null=True)),
                ('through', models.CharField(blank=True, max_length=80)),
                ('moisture_pct', models.DecimalField(blank=True, decimal_places=6, max_digits=15, null=True)),
                ('seed_oil_pct', models.DecimalField(blank=True, decimal_places=6, max_digits=15, null=True)),
                ('cake_oil_pct', models.DecimalField(blank=True, decimal_places=6, max_digits=15, null=True)),
                ('head_c', models.DecimalField(blank=True, decimal_places=6, max_digits=15, null=True)),
                ('drive_hz', models.DecimalField(blank=True, decimal_places=6, max_digits=15, null=True)),
                ('motor_a', models.DecimalField(blank=True, decimal_places=6, max_digits=15, null=True)),
                ('energy_kwh', models.DecimalField(blank=True, decimal_places=6, max_digits=15, null=True)),
                ('dirt', models.CharField(blank=True, choices=[('clean', 'clean'), ('normal', 'normal'), ('dirty', 'dirty')], max_length=8)),
                ('purge', models.BooleanField(default=False)),
                ('done_by', models.CharField(blank=True, max_length=120)),
                ('note', models.TextField(blank=True)),
                ('ends_at', models.DateTimeField(blank=True, editable=False, null=True)),
                ('slot', models.PositiveSmallIntegerField(default=0, editable=False)),
                ('crop', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='runs', to='runs.crop')),
                ('entered_by', models.ForeignKey(blank=True, editable=False, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('press', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='runs', to='equipment.press')),
                ('voided_by', models.ForeignKey(blank=True, editable=False, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
            ],
            options={
                'ordering': ['started_at', 'pk'],
                'indexes': [models.Index(fields=['press', 'started_at'], name='run_by_press_start'), models.Index(fields=['started_at'], name='run_by_start'), models.Index(fields=['press', 'ends_at'], name='run_by_press_end'), models.Index(condition=models.Q(('ends_at__isnull', True)), fields=['press', 'started_at'], name='run_still_running')],
                'constraints': [models.CheckConstraint(condition=models.Q(('ref', ''), _negated=True), name='run_has_ref'), models.CheckConstraint(condition=models.Q(('seed_kg__gte', 0)), name='run_seed_not_negative'), models.CheckConstraint(condition=models.Q(models.Q(('oil_kg__isnull', True), ('oil_kg__gte', 0), _connector='OR'), models.Q(('cake_kg__isnull', True), ('cake_kg__gte', 0), _connector='OR'), models.Q(('foots_kg__isnull', True), ('foots_kg__gte', 0), _connector='OR'), models.Q(('energy_kwh__isnull', True), ('energy_kwh__gte', 0), _connector='OR')), name='run_yields_not_negative'), models.CheckConstraint(condition=models.Q(('hours_h__isnull', True), ('hours_h__gte', 0), _connector='OR'), name='run_hours_not_negative'), models.CheckConstraint(condition=models.Q(('ended_at__isnull', True), ('ended_at__gte', models.F('started_at')), _connector='OR'), name='run_ends_after_start'), models.CheckConstraint(condition=models.Q(('ends_at__isnull', True), ('ends_at__gte', models.F('started_at')), _connector='OR'), name='run_end_derived_after_start'), models.CheckConstraint(condition=models.Q(models.Q(('ended_at__isnull', False), ('ends_at', models.F('ended_at')), ('ends_at__isnull', False)), models.Q(('ended_at__isnull', True), ('ends_at__isnull', False), ('hours_h__isnull', False)), models.Q(('ended_at__isnull', True), ('ends_at__isnull', True), ('hours_h__isnull', True)), _connector='OR'), name='run_end_follows_the_record'), models.CheckConstraint(condition=models.Q(('slot__in', (0, 1, 2))), name='run_slot_known'), models.CheckConstraint(condition=models.Q(('dirt', ''), ('dirt__in', ['clean', 'normal', 'dirty']), _connector='OR'), name='run_dirt_known'), models.CheckConstraint(condition=models.Q(('seed_how__in', ['', 'about', 'worked_out'])), name='run_seed_how_known')],
            },
        ),
        migrations.CreateModel(
            name='ShiftNote',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('entered_at', models.DateTimeField(blank=True, editable=False, null=True)),
                ('voided_at', models.DateTimeField(blank=True, editable=False, null=True)),
                ('void_reason', models.TextField(blank=True, editable=False)),
                ('written_at', models.DateTimeField()),
                ('by_name', models.CharField(max_length=120)),
                ('text', models.TextField()),
                ('entered_by', models.ForeignKey(blank=True, editable=False, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('press', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='shift_notes', to='equipment.press')),
                ('voided_by', models.ForeignKey(blank=True, editable=False, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
            ],
            options={
                'ordering': ['-written_at'],
                'constraints': [models.CheckConstraint(condition=models.Q(('text', ''), _negated=True), name='shift_note_has_text')],
            },
        ),
    ]
