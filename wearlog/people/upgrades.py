"""Migrations that the program has and the database lacks: what an upgrade still has to apply."""

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
    """Each migration of the program, such as `runs.0001_squashed`, with those that it replaces. Cached."""
    loader = MigrationLoader(None, ignore_no_migrations=True)
    return {
        ".".join(key): tuple(".".join(old) for old in migration.replaces)
        for key, migration in sorted(loader.disk_migrations.items())
    }


def waiting() -> list[str]:
    """Names of the unapplied migrations, app by app. One query. Raises DatabaseError where the database does
    not answer."""
    applied = _applied()
    return [
        name
        for name, replaces in shipped().items()
        if name not in applied and not (replaces and applied.issuperset(replaces))
    ]


def missing_steps() -> list[str]:
    """Replaced migrations that the database lacks although it has others replaced by the same squashed one.

    Django regards such a database as complete; only a version of Wearlog that still has them can complete
    it."""
    applied = _applied()
    return [
        step
        for name, replaces in shipped().items()
        if name not in applied and applied.intersection(replaces)
        for step in replaces
        if step not in applied
    ]


def _applied() -> set[str]:
    rows = MigrationRecorder(connection).migration_qs.values_list("app", "name")
    try:
        return {f"{app}.{name}" for app, name in rows}
    except DatabaseError:
        if MigrationRecorder(connection).has_table():
            raise
        return set()


def first_names(names: Sequence[str], most: int = 5) -> str:
    """`runs.0001_squashed, people.0001_squashed`; of many, the first `most` and the total number."""
    shown = ", ".join(names[:most])
    return f"{shown} ... ({len(names)})" if len(names) > most else shown
