"""Emptying the tests' database after a test whose writes were committed.

Django does it by the site's `flush`, which truncates every table and makes content types, permissions and
guards anew: a quarter of a second on PostgreSQL. Here rows are deleted, from those tables alone that hold
some. What `flush` makes anew stays, and sequences go on, as after `flush`.
"""

from __future__ import annotations

from django.apps import apps
from django.contrib.auth.models import Permission
from django.contrib.contenttypes.models import ContentType
from django.db import connections, transaction
from django.db.backends.base.base import BaseDatabaseWrapper
from django.test import TransactionTestCase

from wearlog.people import guards

MADE_WITH_THE_TABLES = {ContentType._meta.db_table, Permission._meta.db_table}


def after_a_test(case: TransactionTestCase) -> None:
    """Stands in for `TransactionTestCase._fixture_teardown`."""
    for name in case._databases_names(include_mirrors=False):
        empty(connections[name])
        restore_guards(name)


def empty(connection: BaseDatabaseWrapper) -> None:
    """Delete every row but content types and permissions, past foreign keys and guards."""
    names = set(connection.introspection.django_table_names()) - MADE_WITH_THE_TABLES
    tables = {name: connection.ops.quote_name(name) for name in sorted(names)}
    asked = " UNION ALL ".join(
        f"SELECT '{name}' WHERE EXISTS (SELECT 1 FROM {table})" for name, table in tables.items()
    )
    with connection.constraint_checks_disabled(), transaction.atomic(connection.alias):
        with connection.cursor() as cursor:
            cursor.execute(asked)
            holding = [name for (name,) in cursor.fetchall()]
        if connection.vendor == "sqlite" and guards.AUDIT in holding:
            guards.lift(apps.get_app_config("people"), connection.alias)
        with connection.cursor() as cursor:
            if connection.vendor == "postgresql":
                cursor.execute("SET LOCAL session_replication_role = replica")  # no trigger, no foreign key
            for name in holding:
                cursor.execute(f"DELETE FROM {tables[name]}")


def restore_guards(name: str) -> None:
    """Those that were lifted here, or by a test."""
    if guards.missing(name):
        for app in apps.get_app_configs():
            guards.install(app, name)
