import datetime
import django.db.models.deletion
import uuid
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):

    replaces = [
        ("reminders", "0001_initial"),
        ("reminders", "0002_sending"),
        ("reminders", "0003_stages_wishes_marks"),
        ("reminders", "0004_addresses"),
        ("reminders", "0005_calendar"),
        ("reminders", "0006_added_columns_have_defaults"),
    ]

    initial = True

    dependencies = [
        ("equipment", "0001_squashed"),
        ("service", "0001_squashed"),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.CreateModel(
            name='ScheduleState',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('name', models.CharField(max_length=40, unique=True)),
                ('at', models.DateTimeField(blank=True, null=True)),
                ('holder', models.CharField(blank=True, max_length=200)),
                ('until', models.DateTimeField(blank=True, null=True)),
                ('why', models.TextField(blank=True)),
            ],
        ),
        migrations.CreateModel(
            name='CalendarFeed',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('note', models.CharField(blank=True, max_length=60)),
                ('secret_hash', models.CharField(max_length=64, unique=True)),
                ('made_at', models.DateTimeField()),
                ('revoked_at', models.DateTimeField(blank=True, null=True)),
                ('person', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='calendar_feeds', to=settings.AUTH_USER_MODEL)),
                ('press', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.CASCADE, related_name='+', to='equipment.press')),
            ],
            options={
                'ordering': ['made_at', 'pk'],
            },
        ),
        migrations.CreateModel(
            name='StoppedAddress',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('channel', models.CharField(max_length=20)),
                ('address', models.CharField(max_length=500)),
                ('reason', models.TextField()),
                ('stopped_at', models.DateTimeField()),
                ('cleared_at', models.DateTimeField(blank=True, null=True)),
                ('cleared_by', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('person', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
            ],
            options={
                'ordering': ['-stopped_at', '-pk'],
            },
        ),
        migrations.CreateModel(
            name='StopNotice',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('made_at', models.DateTimeField()),
                ('next_attempt_at', models.DateTimeField()),
                ('attempts', models.PositiveIntegerField(default=0)),
                ('told_at', models.DateTimeField(blank=True, null=True)),
                ('ended_at', models.DateTimeField(blank=True, null=True)),
                ('last_error', models.TextField(blank=True)),
                ('person', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('stopped', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='notices', to='reminders.stoppedaddress')),
            ],
            options={
                'ordering': ['made_at', 'pk'],
            },
        ),
        migrations.CreateModel(
            name='Webhook',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('url', models.CharField(max_length=500)),
                ('is_on', models.BooleanField(default=True)),
                ('seed', models.CharField(max_length=64)),
                ('seed_made_at', models.DateTimeField()),
                ('person', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
            ],
        ),
        migrations.CreateModel(
            name='CalendarEntry',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('item_key', models.CharField(max_length=64, unique=True)),
                ('uid', models.UUIDField(default=uuid.uuid4, editable=False, unique=True)),
                ('begun_at', models.DateTimeField(blank=True, null=True)),
                ('task', models.TextField()),
                ('words', models.TextField(blank=True)),
                ('caution', models.TextField()),
                ('day', models.DateField(db_index=True)),
                ('status', models.CharField(max_length=10)),
                ('state', models.CharField(choices=[('open', 'to be done'), ('done', 'done'), ('gone', 'no longer called for')], default='open', max_length=4)),
                ('sequence', models.PositiveIntegerField(default=0)),
                ('made_at', models.DateTimeField()),
                ('changed_at', models.DateTimeField()),
                ('given_to', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.SET_NULL, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('part', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.CASCADE, related_name='+', to='equipment.part')),
                ('position', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.SET_NULL, related_name='+', to='equipment.position')),
                ('press', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='+', to='equipment.press')),
                ('rule', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='+', to='service.rule')),
            ],
            options={
                'constraints': [models.CheckConstraint(condition=models.Q(('state__in', ['open', 'done', 'gone'])), name='calendar_state_known'), models.CheckConstraint(condition=models.Q(('status__in', ('TENTATIVE', 'CONFIRMED'))), name='calendar_status_known'), models.CheckConstraint(condition=models.Q(('caution', ''), _negated=True), name='calendar_entry_has_caution')],
            },
        ),
        migrations.CreateModel(
            name='Mark',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('item_key', models.CharField(db_index=True, max_length=64)),
                ('kind', models.CharField(choices=[('seen', 'seen'), ('held', 'held back'), ('given', 'given to a person')], max_length=8)),
                ('rule', models.CharField(max_length=120)),
                ('press', models.CharField(max_length=60)),
                ('thing', models.CharField(blank=True, max_length=200)),
                ('telling', models.CharField(blank=True, max_length=60)),
                ('until_on', models.DateField(blank=True, null=True)),
                ('reason', models.TextField(blank=True)),
                ('made_at', models.DateTimeField()),
                ('ended_at', models.DateTimeField(blank=True, null=True)),
                ('ended_by', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('given_to', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('made_by', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
            ],
            options={
                'ordering': ['made_at', 'pk'],
                'constraints': [models.CheckConstraint(condition=models.Q(('kind__in', ['seen', 'held', 'given'])), name='mark_kind_known'), models.CheckConstraint(condition=models.Q(models.Q(('kind', 'held'), _negated=True), models.Q(('until_on__isnull', False), models.Q(('reason', ''), _negated=True)), _connector='OR'), name='mark_held_has_day_and_reason'), models.CheckConstraint(condition=models.Q(models.Q(('kind', 'given'), _negated=True), ('given_to__isnull', False), _connector='OR'), name='mark_given_has_person'), models.CheckConstraint(condition=models.Q(models.Q(('kind', 'seen'), _negated=True), models.Q(('telling', ''), _negated=True), _connector='OR'), name='mark_seen_has_stage'), models.UniqueConstraint(condition=models.Q(('ended_at__isnull', True), ('kind__in', ('held', 'given'))), fields=('item_key', 'kind'), name='mark_one_hold_one_person'), models.UniqueConstraint(condition=models.Q(('ended_at__isnull', True), ('kind', 'seen')), fields=('item_key', 'telling', 'made_by'), name='mark_seen_once')],
            },
        ),
        migrations.CreateModel(
            name='OutboxRow',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('dedupe_key', models.CharField(max_length=255, unique=True)),
                ('channel', models.CharField(default='mail', max_length=20)),
                ('stage', models.CharField(choices=[('coming', 'coming up'), ('order', 'order the part'), ('due', 'due'), ('overdue', 'overdue'), ('digest', 'list')], max_length=10)),
                ('telling', models.CharField(blank=True, db_default='', default='', max_length=60)),
                ('rule', models.CharField(blank=True, max_length=120)),
                ('press', models.CharField(blank=True, max_length=60)),
                ('thing', models.CharField(blank=True, max_length=200)),
                ('item', models.JSONField(blank=True, default=dict)),
                ('state', models.CharField(choices=[('pending', 'waiting'), ('gathered', 'waiting for the list'), ('leased', 'being sent'), ('sent', 'sent'), ('failed', 'given up'), ('withdrawn', 'withdrawn')], default='pending', max_length=10)),
                ('made_at', models.DateTimeField()),
                ('next_attempt_at', models.DateTimeField(db_index=True)),
                ('leased_until', models.DateTimeField(blank=True, null=True)),
                ('attempts', models.PositiveIntegerField(default=0)),
                ('first_attempt_at', models.DateTimeField(blank=True, null=True)),
                ('sent_at', models.DateTimeField(blank=True, null=True)),
                ('last_error', models.TextField(blank=True)),
                ('message_id', models.CharField(blank=True, max_length=255)),
                ('person', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='outbox', to=settings.AUTH_USER_MODEL)),
                ('told_by', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.SET_NULL, related_name='told', to='reminders.outboxrow')),
            ],
            options={
                'ordering': ['made_at', 'pk'],
                'indexes': [models.Index(fields=['state', 'next_attempt_at'], name='outbox_by_state')],
                'constraints': [models.CheckConstraint(condition=models.Q(('state__in', ['pending', 'gathered', 'leased', 'sent', 'failed', 'withdrawn'])), name='outbox_state_known'), models.CheckConstraint(condition=models.Q(('stage__in', ['coming', 'order', 'due', 'overdue', 'digest'])), name='outbox_stage_known'), models.CheckConstraint(condition=models.Q(models.Q(('state', 'sent'), _negated=True), ('sent_at__isnull', False), _connector='OR'), name='outbox_sent_has_time'), models.CheckConstraint(condition=models.Q(models.Q(('state', 'leased'), _negated=True), ('leased_until__isnull', False), _connector='OR'), name='outbox_lease_has_end')],
            },
        ),
        migrations.CreateModel(
            name='ReminderWish',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('rhythm', models.CharField(choices=[('single', 'each by itself, when it comes up'), ('daily', 'one list a day'), ('weekly', 'one list a week')], default='single', max_length=8, verbose_name='How mails come')),
                ('from_time', models.TimeField(default=datetime.time(6, 0), help_text='Lists come then, single mails not before.', verbose_name='From this time on')),
                ('quiet_from', models.TimeField(blank=True, default=datetime.time(20, 0), help_text='Nothing comes in these hours.', null=True, verbose_name='Quiet from')),
                ('quiet_until', models.TimeField(blank=True, default=datetime.time(6, 0), help_text='Leave both empty for no quiet hours.', null=True, verbose_name='Quiet until')),
                ('weekdays', models.CharField(default='1234567', help_text='One list a week comes on the first of them.', max_length=7, verbose_name='On these days')),
                ('urgent_any_time', models.BooleanField(default=True, verbose_name='After metal in the seed, mail me at once, whatever the hour')),
                ('most_at_once', models.PositiveIntegerField(default=5, help_text='What is more comes as one list.', verbose_name='At most so many single mails at once')),
                ('time_zone', models.CharField(blank=True, help_text='For who is elsewhere than the mill.', max_length=64, verbose_name='My time zone')),
                ('person', models.OneToOneField(on_delete=django.db.models.deletion.CASCADE, related_name='reminder_wish', to=settings.AUTH_USER_MODEL)),
            ],
            options={
                'constraints': [models.CheckConstraint(condition=models.Q(('rhythm__in', ['single', 'daily', 'weekly'])), name='wish_rhythm_known'), models.CheckConstraint(condition=models.Q(('weekdays', ''), _negated=True), name='wish_has_a_weekday'), models.CheckConstraint(condition=models.Q(models.Q(('quiet_from__isnull', True), ('quiet_until__isnull', True)), models.Q(('quiet_from__isnull', False), ('quiet_until__isnull', False)), _connector='OR'), name='wish_quiet_has_both_ends')],
            },
        ),
        migrations.AddConstraint(
            model_name='stoppedaddress',
            constraint=models.UniqueConstraint(condition=models.Q(('cleared_at__isnull', True)), fields=('channel', 'address'), name='stopped_once'),
        ),
        migrations.AddConstraint(
            model_name='stopnotice',
            constraint=models.UniqueConstraint(fields=('stopped', 'person'), name='stop_told_once'),
        ),
        migrations.AddConstraint(
            model_name='webhook',
            constraint=models.CheckConstraint(condition=models.Q(('pk', 1)), name='webhook_is_one'),
        ),
    ]
