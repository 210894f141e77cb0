from django.db import migrations


class Migration(migrations.Migration):
    """Wrong passwords are counted by `people.SignInBrake`. The table stays for now: processes that still run
    the code from before go on writing to it until they are started anew."""

    dependencies = [
        ('web', '0002_queued_entries'),
    ]

    operations = [
        migrations.SeparateDatabaseAndState(
            state_operations=[migrations.DeleteModel(name='SignInFailure')],
        ),
    ]
