import django.db.models.deletion
import wearlog.people.models
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):

    replaces = [
        ("people", "0001_initial"),
        ("people", "0002_languages"),
        ("people", "0003_added_columns_have_defaults"),
        ("people", "0004_sessions_and_brakes"),
        ("people", "0005_sessions_know_their_person"),
    ]

    initial = True

    dependencies = [
    ]

    operations = [
        migrations.CreateModel(
            name='SignInBrake',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('place', models.CharField(max_length=64, unique=True)),
                ('failures', models.PositiveIntegerField()),
                ('last_at', models.DateTimeField(db_index=True)),
                ('open_at', models.DateTimeField()),
            ],
        ),
        migrations.CreateModel(
            name='User',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('password', models.CharField(max_length=128, verbose_name='password')),
                ('last_login', models.DateTimeField(blank=True, null=True, verbose_name='last login')),
                ('username', models.CharField(max_length=60, unique=True, verbose_name='Name to sign in with')),
                ('name', models.CharField(blank=True, max_length=120, verbose_name='Name')),
                ('email', models.EmailField(blank=True, max_length=254, verbose_name='Mail address')),
                ('role', models.CharField(choices=[('viewer', 'viewer'), ('operator', 'operator'), ('maintainer', 'maintainer'), ('owner', 'owner')], default='operator', max_length=12, verbose_name='May do')),
                ('units', models.CharField(blank=True, choices=[('metric', 'kilograms, millimetres, °C'), ('us', 'pounds, inches, °F')], default='', max_length=8, verbose_name='Units')),
                ('language', models.CharField(blank=True, choices=wearlog.people.models.languages, db_default='', default='', max_length=12, verbose_name='Language')),
                ('gets_mail', models.BooleanField(default=True, verbose_name='Gets reminders by mail')),
                ('is_active', models.BooleanField(default=True, verbose_name='May sign in')),
                ('joined_at', models.DateTimeField(blank=True, null=True, verbose_name='Joined')),
                ('session_generation', models.PositiveIntegerField(db_default=0, default=0, editable=False)),
            ],
            options={
                'constraints': [models.CheckConstraint(condition=models.Q(('role__in', ['viewer', 'operator', 'maintainer', 'owner'])), name='user_role_known')],
            },
        ),
        migrations.CreateModel(
            name='Mill',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('name', models.CharField(max_length=120, verbose_name='Name of the mill')),
                ('time_zone', models.CharField(default='UTC', help_text='It decides when a day begins, for every date here.', max_length=64, verbose_name='Time zone')),
                ('currency', models.CharField(blank=True, help_text='Such as: EUR, USD.', max_length=12, verbose_name='Currency')),
                ('units', models.CharField(blank=True, choices=[('metric', 'kilograms, millimetres, °C'), ('us', 'pounds, inches, °F')], default='', help_text='For everybody who has not chosen their own.', max_length=8, verbose_name='Units')),
                ('language', models.CharField(choices=wearlog.people.models.languages, db_default='en', default='en', help_text='For everybody who has not chosen their own.', max_length=12, verbose_name='Language')),
            ],
            options={
                'constraints': [models.CheckConstraint(condition=models.Q(('pk', 1)), name='mill_is_one')],
            },
        ),
        migrations.CreateModel(
            name='Session',
            fields=[
                ('session_key', models.CharField(max_length=40, primary_key=True, serialize=False, verbose_name='session key')),
                ('session_data', models.TextField(verbose_name='session data')),
                ('expire_date', models.DateTimeField(db_index=True, verbose_name='expire date')),
                ('handle', models.CharField(max_length=32, unique=True)),
                ('device', models.CharField(blank=True, default='', max_length=40)),
                ('signed_in_at', models.DateTimeField(null=True)),
                ('used_at', models.DateTimeField(null=True)),
                ('user', models.ForeignKey(null=True, on_delete=django.db.models.deletion.CASCADE, related_name='sessions', to=settings.AUTH_USER_MODEL)),
            ],
            options={
                'verbose_name': 'session',
                'verbose_name_plural': 'sessions',
                'abstract': False,
            },
        ),
        migrations.CreateModel(
            name='SignInLink',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('secret_hash', models.CharField(max_length=64, unique=True)),
                ('made_at', models.DateTimeField()),
                ('expires_at', models.DateTimeField()),
                ('used_at', models.DateTimeField(blank=True, null=True)),
                ('user', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='sign_in_links', to=settings.AUTH_USER_MODEL)),
            ],
        ),
        migrations.CreateModel(
            name='AuditEntry',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('at', models.DateTimeField(db_index=True)),
                ('by_name', models.CharField(max_length=120)),
                ('action', models.CharField(max_length=40)),
                ('record', models.CharField(max_length=40)),
                ('record_id', models.BigIntegerField(blank=True, null=True)),
                ('record_key', models.CharField(blank=True, max_length=255)),
                ('old', models.JSONField(blank=True, null=True)),
                ('new', models.JSONField(blank=True, null=True)),
                ('reason', models.TextField(blank=True)),
                ('by', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
            ],
            options={
                'indexes': [models.Index(fields=['record', 'record_id'], name='audit_of_record')],
            },
        ),
    ]
