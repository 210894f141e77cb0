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
                ('code', models.CharField(help_text='One word without spaces.', max_length=60, unique=True, verbose_name='Crop')),
                ('bushel_kg', models.DecimalField(blank=True, decimal_places=6, help_text='Only where seed is counted in bushels.', max_digits=15, null=True, verbose_name='A bushel weighs')),
                ('note', models.TextField(blank=True, verbose_name='Note')),
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
                ('item', models.CharField(max_length=40, verbose_name='What')),
                ('from_on', models.DateField(verbose_name='From')),
                ('price', models.DecimalField(decimal_places=6, max_digits=15, verbose_name='Price')),
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
                ('start_on', models.DateField(verbose_name='From')),
                ('end_on', models.DateField(verbose_name='Until')),
                ('seed_kg', models.DecimalField(decimal_places=6, max_digits=15, verbose_name='Seed')),
                ('planned_on', models.DateField(blank=True, null=True, verbose_name='Planned on')),
                ('crop', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='plan', to='runs.crop', verbose_name='Crop')),
                ('press', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='plan', to='equipment.press', verbose_name='Press')),
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
                ('entered_at', models.DateTimeField(blank=True, editable=False, null=True, verbose_name='Entered')),
                ('voided_at', models.DateTimeField(blank=True, editable=False, null=True, verbose_name='Struck out')),
                ('void_reason', models.TextField(blank=True, editable=False, verbose_name='Why it was struck out')),
                ('read_at', models.DateTimeField(verbose_name='When')),
                ('meter_h', models.DecimalField(decimal_places=6, max_digits=15, verbose_name='Hour meter shows')),
                ('kind', models.CharField(choices=[('reading', 'reading'), ('new_meter', 'new meter')], default='reading', max_length=10, verbose_name='Kind')),
                ('entered_by', models.ForeignKey(blank=True, editable=False, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL, verbose_name='Entered by')),
                ('press', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='readings', to='equipment.press', verbose_name='Press')),
                ('voided_by', models.ForeignKey(blank=True, editable=False, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL, verbose_name='Struck out by')),
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
                ('entered_at', models.DateTimeField(blank=True, editable=False, null=True, verbose_name='Entered')),
                ('voided_at', models.DateTimeField(blank=True, editable=False, null=True, verbose_name='Struck out')),
                ('void_reason', models.TextField(blank=True, editable=False, verbose_name='Why it was struck out')),
                ('ref', models.CharField(max_length=60, unique=True, verbose_name='Reference')),
                ('lot', models.CharField(blank=True, max_length=60, verbose_name='Lot')),
                ('started_at', models.DateTimeField(verbose_name='Started')),
                ('ended_at', models.DateTimeField(blank=True, null=True, verbose_name='Ended')),
                ('hours_h', models.DecimalField(blank=True, decimal_places=6, help_text='As 7.5 or 7:30.', max_digits=15, null=True, verbose_name='Hours pressed')),
                ('seed_kg', models.DecimalField(decimal_places=6, max_digits=15, verbose_name='Seed pressed')),
                ('seed_how', models.CharField(blank=True, choices=[('', 'weighed'), ('about', 'about'), ('worked_out', 'worked out')], db_default='', default='', max_length=10, verbose_name='The seed was')),
                ('oil_kg', models.DecimalField(blank=True, decimal_places=6, max_digits=15, null=True, verbose_name='Oil')),
                ('cake_kg', models.DecimalField(blank=True, decimal_places=6, max_digits=15, null=True, verbose_name='Cake')),
                ('foots_kg', models.DecimalField(blank=True, decimal_places=6, max_digits=15, null=True, verbose_name='Foots')),
                ('through', models.CharField(blank=True, max_length=80, verbose_name='Barrels that pressed')),
                ('moisture_pct', models.DecimalField(blank=True, decimal_places=6, max_digits=15, null=True, verbose_name='Seed moisture')),
                ('seed_oil_pct', models.DecimalField(blank=True, decimal_places=6, max_digits=15, null=True, verbose_name='Oil in the seed')),
                ('cake_oil_pct', models.DecimalField(blank=True, decimal_places=6, max_digits=15, null=True, verbose_name='Oil left in the cake')),
                ('head_c', models.DecimalField(blank=True, decimal_places=6, max_digits=15, null=True, verbose_name='Head temperature')),
                ('drive_hz', models.DecimalField(blank=True, decimal_places=6, max_digits=15, null=True, verbose_name='Drive')),
                ('motor_a', models.DecimalField(blank=True, decimal_places=6, max_digits=15, null=True, verbose_name='Motor')),
                ('energy_kwh', models.DecimalField(blank=True, decimal_places=6, max_digits=15, null=True, verbose_name='Energy')),
                ('dirt', models.CharField(blank=True, choices=[('clean', 'clean'), ('normal', 'normal'), ('dirty', 'dirty')], max_length=8, verbose_name='How clean was the seed?')),
                ('purge', models.BooleanField(default=False, verbose_name='Purge seed, off-grade')),
                ('done_by', models.CharField(blank=True, max_length=120, verbose_name='Done by')),
                ('note', models.TextField(blank=True, verbose_name='Note')),
                ('ends_at', models.DateTimeField(blank=True, editable=False, null=True)),
                ('slot', models.PositiveSmallIntegerField(default=0, editable=False)),
                ('crop', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='runs', to='runs.crop', verbose_name='Crop')),
                ('entered_by', models.ForeignKey(blank=True, editable=False, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL, verbose_name='Entered by')),
                ('press', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='runs', to='equipment.press', verbose_name='Press')),
                ('voided_by', models.ForeignKey(blank=True, editable=False, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL, verbose_name='Struck out by')),
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
                ('entered_at', models.DateTimeField(blank=True, editable=False, null=True, verbose_name='Entered')),
                ('voided_at', models.DateTimeField(blank=True, editable=False, null=True, verbose_name='Struck out')),
                ('void_reason', models.TextField(blank=True, editable=False, verbose_name='Why it was struck out')),
                ('written_at', models.DateTimeField(verbose_name='Written')),
                ('by_name', models.CharField(max_length=120, verbose_name='Signed')),
                ('text', models.TextField(verbose_name='Text')),
                ('entered_by', models.ForeignKey(blank=True, editable=False, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL, verbose_name='Entered by')),
                ('press', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='shift_notes', to='equipment.press', verbose_name='About')),
                ('voided_by', models.ForeignKey(blank=True, editable=False, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL, verbose_name='Struck out by')),
            ],
            options={
                'ordering': ['-written_at'],
                'constraints': [models.CheckConstraint(condition=models.Q(('text', ''), _negated=True), name='shift_note_has_text')],
            },
        ),
    ]
