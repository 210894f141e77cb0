"""Database-level rules (triggers, exclusion constraints) that Django's constraints can't express.

Each app lists its own in `<app>/guards.py` as `GUARDS`. They are installed after every `migrate`, because a
migration that rebuilds an SQLite table drops its triggers; `missing` names those that are absent or outdated,
and a system check (`manage.py check --database default`) reports them.

A guard is a trigger, or on PostgreSQL also an exclusion constraint. PostgreSQL keeps the fingerprint of the
definition as the object's comment, SQLite its text, so a changed definition counts as missing.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from importlib import import_module
from importlib.util import find_spec

from django.apps import AppConfig, apps
from django.db import DEFAULT_DB_ALIAS, connections, transaction
from django.db.backends.base.base import BaseDatabaseWrapper
from django.db.backends.utils import CursorWrapper


@dataclass(frozen=True)
class Trigger:
    """A trigger for one kind of database. `body` is the whole CREATE TRIGGER statement; on PostgreSQL
    `function` is the CREATE OR REPLACE FUNCTION statement of the function that it calls."""

    vendor: str
    table: str
    name: str
    body: str
    function: str = ""


@dataclass(frozen=True)
class Exclusion:
    """An exclusion constraint of PostgreSQL. `body` is what follows EXCLUDE."""

    table: str
    name: str
    body: str
    vendor: str = "postgresql"


Guard = Trigger | Exclusion

AUDIT = "people_auditentry"
APPEND_ONLY = "the audit trail is append-only: a row is never changed or deleted"
REFUSE_FUNCTION = f"""CREATE OR REPLACE FUNCTION wearlog_audit_append_only() RETURNS trigger
LANGUAGE plpgsql AS $$ BEGIN
  RAISE EXCEPTION '{APPEND_ONLY}' USING ERRCODE = 'integrity_constraint_violation';
END $$"""

GUARDS: tuple[Guard, ...] = (
    *(
        Trigger(
            "sqlite",
            AUDIT,
            f"audit_no_{event.lower()}",
            f"CREATE TRIGGER audit_no_{event.lower()} BEFORE {event} ON {AUDIT} "
            f"BEGIN SELECT RAISE(ABORT, '{APPEND_ONLY}'); END",
        )
        for event in ("UPDATE", "DELETE")
    ),
    Trigger(
        "postgresql",
        AUDIT,
        "audit_no_change",
        f"CREATE TRIGGER audit_no_change BEFORE UPDATE OR DELETE OR TRUNCATE ON {AUDIT} "
        "FOR EACH STATEMENT EXECUTE FUNCTION wearlog_audit_append_only()",
        function=REFUSE_FUNCTION,
    ),
)


def of_app(app: AppConfig, vendor: str) -> tuple[Guard, ...]:
    """The guards that the app lists for this kind of database ("sqlite" or "postgresql")."""
    name = f"{app.name}.guards"
    if not app.name.startswith("wearlog.") or find_spec(name) is None:
        return ()
    listed: Iterable[Guard] = import_module(name).GUARDS
    return tuple(guard for guard in listed if guard.vendor == vendor)


def _all(vendor: str) -> Iterator[Guard]:
    for app in apps.get_app_configs():
        yield from of_app(app, vendor)


def missing(using: str = DEFAULT_DB_ALIAS) -> list[str]:
    """Names of the guards that are absent or defined differently, for tables that exist."""
    connection = connections[using]
    tables = set(connection.introspection.table_names())
    guards = [guard for guard in _all(connection.vendor) if guard.table in tables]
    with connection.cursor() as cursor:
        return [guard.name for guard in guards if not _is_installed(connection, cursor, guard)]


def install(app: AppConfig, using: str = DEFAULT_DB_ALIAS) -> None:
    """Install the app's guards that are absent or defined differently. Idempotent."""
    connection = connections[using]
    guards = of_app(app, connection.vendor)
    if not guards:
        return
    tables = set(connection.introspection.table_names())
    with transaction.atomic(using=using), connection.cursor() as cursor:
        for guard in guards:
            if guard.table in tables and not _is_installed(connection, cursor, guard):
                _drop(cursor, guard)
                _create(cursor, guard)


def lift(app: AppConfig, using: str = DEFAULT_DB_ALIAS) -> None:
    """Drop the app's guards, to empty a database; the next `migrate` installs them again."""
    connection = connections[using]
    tables = set(connection.introspection.table_names())
    with transaction.atomic(using=using), connection.cursor() as cursor:
        for guard in of_app(app, connection.vendor):
            if guard.table in tables:
                _drop(cursor, guard)


def install_after_migrate(app_config: AppConfig, using: str, **_: object) -> None:
    install(app_config, using)


def _fingerprint(guard: Guard) -> str:
    text = guard.body + (guard.function if isinstance(guard, Trigger) else "")
    return "guard " + hashlib.sha256(text.encode()).hexdigest()[:16]


def _is_installed(connection: BaseDatabaseWrapper, cursor: CursorWrapper, guard: Guard) -> bool:
    if connection.vendor == "sqlite":
        cursor.execute(
            "SELECT sql FROM sqlite_master WHERE type = 'trigger' AND name = %s AND tbl_name = %s",
            [guard.name, guard.table],
        )
        row = cursor.fetchone()
        return row is not None and row[0] == guard.body
    if isinstance(guard, Exclusion):
        cursor.execute(
            "SELECT obj_description(oid, 'pg_constraint') FROM pg_constraint "
            "WHERE conname = %s AND conrelid = to_regclass(%s) AND convalidated",
            [guard.name, guard.table],
        )
    else:
        cursor.execute(
            "SELECT obj_description(oid, 'pg_trigger') FROM pg_trigger "
            "WHERE tgname = %s AND tgrelid = to_regclass(%s) AND tgenabled = 'O'",
            [guard.name, guard.table],
        )
    row = cursor.fetchone()
    return row is not None and row[0] == _fingerprint(guard)


def _drop(cursor: CursorWrapper, guard: Guard) -> None:
    if isinstance(guard, Exclusion):
        cursor.execute(f"ALTER TABLE {guard.table} DROP CONSTRAINT IF EXISTS {guard.name}")
    elif guard.vendor == "sqlite":
        cursor.execute(f"DROP TRIGGER IF EXISTS {guard.name}")
    else:
        cursor.execute(f"DROP TRIGGER IF EXISTS {guard.name} ON {guard.table}")


def _create(cursor: CursorWrapper, guard: Guard) -> None:
    if isinstance(guard, Exclusion):
        cursor.execute(f"ALTER TABLE {guard.table} ADD CONSTRAINT {guard.name} EXCLUDE {guard.body}")
        cursor.execute(f"COMMENT ON CONSTRAINT {guard.name} ON {guard.table} IS '{_fingerprint(guard)}'")
        return
    if guard.function:
        cursor.execute(guard.function)
    cursor.execute(guard.body)
    if guard.vendor == "postgresql":
        cursor.execute(f"COMMENT ON TRIGGER {guard.name} ON {guard.table} IS '{_fingerprint(guard)}'")
