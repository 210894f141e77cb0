"""Migrations that the program has and the database has not: what an upgrade still has to do."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache

from django.db import connection
from django.db.migrations.loader import MigrationLoader
from django.db.migrations.recorder import MigrationRecorder
from django.db.utils import DatabaseError

REMEDY = "Run manage.py migrate, which makes a backup first."


@cache
def shipped() -> dict[str, tuple[str, ...]]:
    """Each migration of the program, as in `runs.0003_seed_how`, and those that it stands for. Read once."""
    loader = MigrationLoader(None, ignore_no_migrations=True)
    return {
        ".".join(key): tuple(".".join(old) for old in migration.replaces)
        for key, migration in sorted(loader.disk_migrations.items())
    }


def waiting() -> list[str]:
    """Names of the migrations that wait, app by app. One query; DatabaseError where nothing answers."""
    rows = MigrationRecorder(connection).migration_qs.values_list("app", "name")
    try:
        applied = {f"{app}.{name}" for app, name in rows}
    except DatabaseError:
        if MigrationRecorder(connection).has_table():
            raise
        applied = set()
    return [
        name
        for name, replaces in shipped().items()
        if name not in applied and not (replaces and applied.issuperset(replaces))
    ]


def told(names: Sequence[str], most: int = 5) -> str:
    """`runs.0003_seed_how, people.0002_languages`; of many the first ones and how many there are."""
    shown = ", ".join(names[:most])
    return f"{shown} ... ({len(names)})" if len(names) > most else shown
