"""`Standing` is called `ForecastSnapshot` in the code. Its table keeps its name: nothing happens in the database."""

from django.db import migrations


class Migration(migrations.Migration):

    dependencies = [
        ('forecasts', '0002_history'),
    ]

    operations = [
        migrations.AlterModelTable(name='standing', table='forecasts_standing'),
        migrations.RenameModel(old_name='Standing', new_name='ForecastSnapshot'),
    ]
