"""The program before an upgrade may still be running when the tables are those after it: it goes on writing.

It doesn't know a column that was added, so the database must fill that in by itself.
"""

from __future__ import annotations

import pytest
from django.apps import apps
from django.db import connection
from django.db.migrations.loader import MigrationLoader
from django.db.migrations.migration import Migration
from django.db.migrations.operations import AddField, CreateModel
from django.db.models import CharField, Field, fields

from wearlog.people.models import Mill, User

Column = tuple[str, str, str]
"""App, model and field, as migrations write them."""


def added(migration: Migration) -> set[Column]:
    """What a migration adds to tables that stood before."""
    made = {each.name_lower for each in migration.operations if isinstance(each, CreateModel)}
    return {
        (migration.app_label, each.model_name_lower, each.name)
        for each in migration.operations
        if isinstance(each, AddField) and each.model_name_lower not in made
    }


def columns_added_later() -> list[Field]:
    """Of the site's own tables as they are now: what was added, and has a column of its own."""
    found: set[Column] = set()
    for (app, _name), migration in MigrationLoader(None).disk_migrations.items():
        if apps.get_app_config(app).name.startswith("wearlog."):
            found |= added(migration)
    there = []
    for app, model, name in sorted(found):
        try:
            field = apps.get_model(app, model)._meta.get_field(name)
        except (LookupError, fields.FieldDoesNotExist):
            continue  # taken out again since
        if field.concrete and not field.many_to_many:
            there.append(field)
    return there


def fills_in(field: Field) -> bool:
    return bool(field.null or field.has_db_default())


def test_a_column_that_was_added_is_filled_in_by_the_database_itself() -> None:
    """Give it `db_default=` beside its `default=`, or let it be null."""
    lacking = [str(field) for field in columns_added_later() if not fills_in(field)]
    assert lacking == []


def test_the_rule_sees_what_it_is_about() -> None:
    """It must be able to fail."""
    later = Migration("0002_later", "runs")
    later.operations = [
        AddField("Run", "seed_how", CharField(max_length=12)),
        CreateModel("Bin", [("level", CharField(max_length=12))]),
        AddField("Bin", "grain", CharField(max_length=12)),
    ]
    assert added(later) == {("runs", "run", "seed_how")}
    assert fills_in(User._meta.get_field("language"))
    assert not fills_in(Mill._meta.get_field("name"))


@pytest.mark.django_db
def test_the_tables_have_those_defaults() -> None:
    """What is written in `models.py` and what stands in the database may differ; the second counts. On
    PostgreSQL `people/test_upgrades.py` writes as the program before does."""
    assert connection.vendor == "sqlite"
    for field in columns_added_later():
        with connection.cursor() as cursor:
            cursor.execute(f'PRAGMA table_info("{field.model._meta.db_table}")')
            described = {name: (not_null, default) for _no, name, _type, not_null, default, _key in cursor}
        not_null, default = described[str(field.column)]
        assert not not_null or default is not None, str(field)
