import django.db.models.deletion
import wearlog.lockout.models.isolation
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):

    replaces = [
        ("lockout", "0001_initial"),
        ("lockout", "0002_caution_wording"),
        ("lockout", "0003_isolation_record"),
        ("lockout", "0004_yearly_looks"),
    ]

    initial = True

    dependencies = [
        ("equipment", "0001_squashed"),
        ("service", "0001_squashed"),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.CreateModel(
            name='EnergySource',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('source', models.CharField(help_text='Main motor, heater circuit, feed auger, trapped pressure, stored heat, hopper …', max_length=120, verbose_name='Energy source')),
                ('kind', models.CharField(choices=[('electrical', 'electrical'), ('thermal', 'heat'), ('pressure', 'pressure'), ('gravity', 'gravity'), ('rotation', 'rotation'), ('other', 'other')], max_length=12, verbose_name='Kind')),
                ('isolate_at', models.CharField(blank=True, help_text='The switch, valve or plug, and where it is.', max_length=255, verbose_name='Isolated at')),
                ('release_by', models.CharField(blank=True, max_length=255, verbose_name='What is stored is released or held by')),
                ('verify_by', models.CharField(blank=True, max_length=255, verbose_name='Verified by')),
                ('press', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='energy_sources', to='equipment.press', verbose_name='Press')),
            ],
            options={
                'ordering': ['press__code', 'source'],
            },
        ),
        migrations.CreateModel(
            name='Isolation',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('entered_at', models.DateTimeField(blank=True, editable=False, null=True, verbose_name='Entered')),
                ('voided_at', models.DateTimeField(blank=True, editable=False, null=True, verbose_name='Struck out')),
                ('void_reason', models.TextField(blank=True, editable=False, verbose_name='Why it was struck out')),
                ('ref', models.CharField(max_length=60, unique=True, verbose_name='Reference')),
                ('work', models.CharField(max_length=255, verbose_name='What is the press stopped for?')),
                ('lead', models.CharField(help_text='One person answers for the locks of all.', max_length=120, verbose_name='Who leads the work?')),
                ('begun_at', models.DateTimeField(verbose_name='Begun')),
                ('ended_at', models.DateTimeField(blank=True, null=True, verbose_name='Ended')),
                ('ended_by_name', models.CharField(blank=True, max_length=120, verbose_name='Ended by (name)')),
                ('stated', models.TextField(blank=True, verbose_name='What was stated')),
                ('ended_by', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL, verbose_name='Ended by')),
                ('entered_by', models.ForeignKey(blank=True, editable=False, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL, verbose_name='Entered by')),
                ('press', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='isolations', to='equipment.press', verbose_name='Press')),
                ('voided_by', models.ForeignKey(blank=True, editable=False, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL, verbose_name='Struck out by')),
            ],
            options={
                'ordering': ['begun_at', 'pk'],
            },
        ),
        migrations.CreateModel(
            name='Lock',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('entered_at', models.DateTimeField(blank=True, editable=False, null=True, verbose_name='Entered')),
                ('voided_at', models.DateTimeField(blank=True, editable=False, null=True, verbose_name='Struck out')),
                ('void_reason', models.TextField(blank=True, editable=False, verbose_name='Why it was struck out')),
                ('ref', models.CharField(max_length=80, unique=True, verbose_name='Reference')),
                ('source_name', models.CharField(max_length=120, verbose_name='What it is on')),
                ('place', models.CharField(blank=True, max_length=255, verbose_name='Place')),
                ('number', models.CharField(max_length=60, verbose_name='Number on the lock')),
                ('holder_name', models.CharField(max_length=120, verbose_name='Name of the holder')),
                ('firm', models.CharField(blank=True, max_length=120, verbose_name='Firm')),
                ('fitted_at', models.DateTimeField(verbose_name='Fitted')),
                ('verified_at', models.DateTimeField(blank=True, null=True, verbose_name='Verified')),
                ('verified_how', models.CharField(blank=True, help_text='What you tried, and what happened.', max_length=255, verbose_name='How you verified it')),
                ('confirmed_at', models.DateTimeField(blank=True, null=True, verbose_name='Confirmed')),
                ('off_at', models.DateTimeField(blank=True, null=True, verbose_name='Taken off')),
                ('off_how', models.CharField(blank=True, choices=[('self', 'taken off by whoever fitted it'), ('test', 'taken off for a test under power'), ('handed-over', 'handed over'), ('for-another', 'taken off for somebody who was not there')], max_length=12, verbose_name='How it came off')),
                ('off_by_name', models.CharField(blank=True, max_length=120, verbose_name='Taken off by (name)')),
                ('reason', models.CharField(blank=True, max_length=255, verbose_name="Why it can't wait")),
                ('not_here', models.CharField(blank=True, max_length=255, verbose_name='How you made sure that the person is not on the premises')),
                ('contact', models.CharField(blank=True, max_length=255, verbose_name='How you reached the person, or what you tried')),
                ('told_at', models.DateTimeField(blank=True, null=True, verbose_name='Told')),
                ('told_by_name', models.CharField(blank=True, max_length=120, verbose_name='Told by')),
                ('entered_by', models.ForeignKey(blank=True, editable=False, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL, verbose_name='Entered by')),
                ('follows', models.OneToOneField(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='followed_by', to='lockout.lock', verbose_name='Follows the lock')),
                ('holder', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='locks', to=settings.AUTH_USER_MODEL, verbose_name='Holder of the lock')),
                ('isolation', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='locks', to='lockout.isolation', verbose_name='Isolation')),
                ('off_by', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL, verbose_name='Taken off by')),
                ('source', models.ForeignKey(blank=True, null=True, on_delete=wearlog.lockout.models.isolation.keep_while_locked, related_name='locks', to='lockout.energysource', verbose_name='Energy source')),
                ('voided_by', models.ForeignKey(blank=True, editable=False, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL, verbose_name='Struck out by')),
            ],
            options={
                'ordering': ['fitted_at', 'pk'],
            },
        ),
        migrations.CreateModel(
            name='ReleaseStatement',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('at', models.DateTimeField()),
                ('by_name', models.CharField(max_length=120)),
                ('stated', models.TextField()),
                ('by', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('service', models.OneToOneField(on_delete=django.db.models.deletion.PROTECT, related_name='release_statement', to='service.service')),
            ],
        ),
        migrations.CreateModel(
            name='YearlyLook',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('kind', models.CharField(choices=[('procedure', 'look at the lockout procedure'), ('instruction', 'instruction of a person')], max_length=12)),
                ('person', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='yearly_looks', to=settings.AUTH_USER_MODEL)),
                ('rule', models.OneToOneField(on_delete=django.db.models.deletion.CASCADE, related_name='yearly_look', to='service.rule')),
            ],
        ),
        migrations.CreateModel(
            name='CautionWording',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('number', models.PositiveIntegerField(unique=True)),
                ('hazard', models.CharField(max_length=30)),
                ('instead', models.CharField(blank=True, help_text='Instead of the shipped sentence. Empty: the shipped sentence stands.', max_length=300, verbose_name='In your words')),
                ('added', models.CharField(blank=True, help_text='What is particular here: the place, the tool, what happened once.', max_length=300, verbose_name='Added')),
                ('word', models.CharField(blank=True, max_length=10, verbose_name='Signal word')),
                ('reason', models.CharField(max_length=255, verbose_name='Why it changes')),
                ('at', models.DateTimeField()),
                ('by_name', models.CharField(max_length=120)),
                ('by', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('press', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='caution_wordings', to='equipment.press')),
            ],
            options={
                'ordering': ['number'],
                'constraints': [models.CheckConstraint(condition=models.Q(('number__gt', 0)), name='wording_number_positive'), models.CheckConstraint(condition=models.Q(('reason', ''), _negated=True), name='wording_has_reason'), models.CheckConstraint(condition=models.Q(('word__in', ('', 'CAUTION', 'WARNING', 'DANGER'))), name='wording_signal_word_known'), models.CheckConstraint(condition=models.Q(models.Q(('word', 'DANGER'), _negated=True), ('press__isnull', False), _connector='OR'), name='wording_danger_names_its_press'), models.CheckConstraint(condition=models.Q(models.Q(('hazard', 'every-task'), _negated=True), models.Q(('instead', ''), ('word', '')), _connector='OR'), name='wording_for_every_task_adds_only')],
            },
        ),
        migrations.AddConstraint(
            model_name='energysource',
            constraint=models.UniqueConstraint(fields=('press', 'source'), name='energy_source_key'),
        ),
        migrations.AddConstraint(
            model_name='energysource',
            constraint=models.CheckConstraint(condition=models.Q(('source', ''), _negated=True), name='energy_source_has_name'),
        ),
        migrations.AddConstraint(
            model_name='energysource',
            constraint=models.CheckConstraint(condition=models.Q(('kind__in', ['electrical', 'thermal', 'pressure', 'gravity', 'rotation', 'other'])), name='energy_kind_known'),
        ),
        migrations.AddConstraint(
            model_name='isolation',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('ref', ''), _negated=True), models.Q(('work', ''), _negated=True), models.Q(('lead', ''), _negated=True)), name='isolation_is_named'),
        ),
        migrations.AddConstraint(
            model_name='isolation',
            constraint=models.UniqueConstraint(condition=models.Q(('ended_at__isnull', True), ('voided_at__isnull', True)), fields=('press',), name='isolation_one_open_per_press'),
        ),
        migrations.AddConstraint(
            model_name='isolation',
            constraint=models.CheckConstraint(condition=models.Q(('ended_at__isnull', True), models.Q(('ended_at__gte', models.F('begun_at')), models.Q(('ended_by_name', ''), _negated=True), models.Q(('stated', ''), _negated=True)), _connector='OR'), name='isolation_ended_by_name_with_steps'),
        ),
        migrations.AddConstraint(
            model_name='lock',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('ref', ''), _negated=True), models.Q(('source_name', ''), _negated=True), models.Q(('number', ''), _negated=True), models.Q(('holder_name', ''), _negated=True)), name='lock_is_named'),
        ),
        migrations.AddConstraint(
            model_name='lock',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('off_at__isnull', True), ('off_how', '')), models.Q(('off_at__gte', models.F('fitted_at')), ('off_how__in', ['self', 'test', 'handed-over', 'for-another']), models.Q(('off_by_name', ''), _negated=True)), _connector='OR'), name='lock_comes_off_by_name'),
        ),
        migrations.AddConstraint(
            model_name='lock',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('off_how', 'for-another'), _negated=True), models.Q(models.Q(('reason', ''), _negated=True), models.Q(('not_here', ''), _negated=True), models.Q(('contact', ''), _negated=True)), _connector='OR'), name='lock_of_another_comes_off_with_reason'),
        ),
        migrations.AddConstraint(
            model_name='lock',
            constraint=models.CheckConstraint(condition=models.Q(('off_how__in', ('', 'for-another')), ('holder__isnull', True), ('off_by', models.F('holder')), _connector='OR'), name='lock_comes_off_by_its_person'),
        ),
        migrations.AddConstraint(
            model_name='lock',
            constraint=models.UniqueConstraint(condition=models.Q(('off_at__isnull', True), ('voided_at__isnull', True)), fields=('isolation', 'source_name', 'holder_name'), name='lock_once_per_person_and_source'),
        ),
        migrations.AddConstraint(
            model_name='releasestatement',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('by_name', ''), _negated=True), models.Q(('stated', ''), _negated=True)), name='release_stated_by_name'),
        ),
        migrations.AddConstraint(
            model_name='yearlylook',
            constraint=models.CheckConstraint(condition=models.Q(('kind__in', ['procedure', 'instruction'])), name='yearly_kind_known'),
        ),
        migrations.AddConstraint(
            model_name='yearlylook',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('kind', 'instruction'), ('person__isnull', False)), models.Q(('kind', 'procedure'), ('person__isnull', True)), _connector='OR'), name='yearly_instruction_is_of_a_person'),
        ),
        migrations.AddConstraint(
            model_name='yearlylook',
            constraint=models.UniqueConstraint(condition=models.Q(('person__isnull', False)), fields=('person',), name='yearly_instruction_once_per_person'),
        ),
    ]
