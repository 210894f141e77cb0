"""`manage.py flush` empties the whole database, also the audit trail, whose guards otherwise refuse to delete
rows."""

from __future__ import annotations

from django.apps import apps
from django.core.management.commands.flush import Command as Flush

from wearlog.people import guards


class Command(Flush):
    def handle(self, **options: object) -> None:
        database = str(options["database"])
        people = apps.get_app_config("people")
        guards.lift(people, database)
        try:
            super().handle(**options)
        finally:
            guards.install(people, database)
