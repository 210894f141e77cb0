import hashlib

from django.contrib.sessions.backends.db import SessionStore
from django.db import migrations
from django.utils import timezone


def move(apps, schema_editor):
    """Whoever is signed in stays signed in. The old rows go: nobody could list or end them."""
    alias = schema_editor.connection.alias
    old = apps.get_model('sessions', 'Session').objects.using(alias)
    new = apps.get_model('people', 'Session').objects.using(alias)
    people = set(
        apps.get_model('people', 'User').objects.using(alias).filter(is_active=True).values_list('pk', flat=True)
    )
    store = SessionStore()
    for row in old.filter(expire_date__gt=timezone.now()).iterator():
        person = store.decode(row.session_data).get('_auth_user_id', '')
        if str(person).isdecimal() and int(person) in people:
            new.create(
                session_key=row.session_key,
                session_data=row.session_data,
                expire_date=row.expire_date,
                user_id=int(person),
                handle=hashlib.sha256(row.session_key.encode()).hexdigest()[:32],
            )
    old.all().delete()


class Migration(migrations.Migration):

    dependencies = [
        ('people', '0004_sessions_and_brakes'),
        ('sessions', '0001_initial'),
    ]

    operations = [migrations.RunPython(move, migrations.RunPython.noop)]
