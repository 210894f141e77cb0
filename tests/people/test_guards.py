"""The guards of the database: installed after migrate, missed when gone, restored."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from copy import copy

import pytest
from django.apps import apps
from django.core.checks import run_checks
from django.core.management import call_command
from django.db import IntegrityError, connection, models, transaction

from tests.dates import at
from wearlog.equipment.models import Fitting
from wearlog.people import audit, guards
from wearlog.people.models import AuditEntry, Mill, User
from wearlog.runs.models import Run

SQLITE = [
    "audit_no_update",
    "audit_no_delete",
    "fitting_overlap_insert",
    "fitting_overlap_update",
    "isolation_ends_without_locks",
    "lock_on_open_isolation_insert",
    "lock_on_open_isolation_update",
    "run_overlap_insert",
    "run_overlap_update",
]
POSTGRESQL = [
    "audit_no_change",
    "fitting_one_part_per_position",
    "fitting_one_place_per_part",
    "isolation_ends_without_locks",
    "lock_on_open_isolation",
    "run_one_per_barrel",
]


@contextmanager
def refused() -> Iterator[None]:
    with pytest.raises(IntegrityError), transaction.atomic():
        yield


@pytest.fixture
def row(owner: User) -> AuditEntry:
    return audit.write(at=at("2026-03-01 06:00"), by=owner, action="add", record=Mill.current())


def test_an_audit_row_is_not_changed_by_the_orm(row: AuditEntry) -> None:
    with refused():
        AuditEntry.objects.filter(pk=row.pk).update(by_name="Nobody")
    with refused():
        row.reason = "because"
        row.save()
    row.refresh_from_db()
    assert (row.by_name, row.reason) == ("Olga", "")


def test_an_audit_row_is_not_deleted_by_the_orm_or_by_sql(row: AuditEntry) -> None:
    with refused():
        row.delete()
    with refused(), connection.cursor() as cursor:
        cursor.execute("DELETE FROM people_auditentry")
    with refused(), connection.cursor() as cursor:
        cursor.execute("UPDATE people_auditentry SET action = 'nothing'")
    assert AuditEntry.objects.filter(action="add").count() == 1


def test_the_trail_outlives_the_person(row: AuditEntry, owner: User) -> None:
    with pytest.raises(models.ProtectedError):
        owner.delete()


def test_every_guard_stands_after_migrate(db: None) -> None:
    assert guards.missing() == []


def test_each_guard_that_is_taken_away_is_missed_and_comes_back(db: None) -> None:
    expected = SQLITE if connection.vendor == "sqlite" else POSTGRESQL
    for app in apps.get_app_configs():
        guards.lift(app)
    assert sorted(guards.missing()) == sorted(expected)
    warnings = [each for each in run_checks(databases=["default"]) if each.id == "wearlog.W001"]
    assert len(warnings) == len(expected)
    assert all("migrate" in (warning.hint or "") for warning in warnings)
    for app in apps.get_app_configs():
        guards.install(app)
        guards.install(app)
    assert guards.missing() == []


def test_a_guard_of_another_definition_counts_as_missing(db: None) -> None:
    people = apps.get_app_config("people")
    guards.lift(people)
    with connection.cursor() as cursor:
        if connection.vendor == "sqlite":
            cursor.execute(
                "CREATE TRIGGER audit_no_update BEFORE UPDATE ON people_auditentry BEGIN SELECT 1; END"
            )
        else:
            cursor.execute(
                "CREATE TRIGGER audit_no_change BEFORE UPDATE ON people_auditentry "
                "FOR EACH STATEMENT EXECUTE FUNCTION wearlog_audit_append_only()"
            )
    assert {"audit_no_update", "audit_no_change"} & set(guards.missing())
    guards.install(people)
    assert guards.missing() == []


@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize(("model", "name"), [(AuditEntry, "action"), (Fitting, "edge"), (Run, "lot")])
def test_a_rebuilt_table_gets_its_guards_back_with_the_next_migrate(
    model: type[models.Model], name: str
) -> None:
    now = model._meta.get_field(name)
    wider = copy(now)
    wider.max_length = 99
    for old, new in ((now, wider), (wider, now)):
        with connection.schema_editor() as editor:
            editor.alter_field(model, old, new)
        # SQLite changes a column by making the table anew, and its triggers go with the old one.
        assert bool(guards.missing()) is (connection.vendor == "sqlite")
        call_command("migrate", verbosity=0)
        assert guards.missing() == []


@pytest.mark.django_db(transaction=True)
def test_flush_empties_the_trail_and_leaves_the_guards_standing() -> None:
    audit.write(at=at("2026-03-01 06:00"), by=None, action="add", record=Mill.current())
    call_command("flush", interactive=False, verbosity=0)
    assert AuditEntry.objects.count() == 0
    assert guards.missing() == []


def test_a_truncate_of_the_trail_is_refused_where_the_database_knows_it(row: AuditEntry) -> None:
    statement = "DELETE FROM" if connection.vendor == "sqlite" else "TRUNCATE"
    connection.check_constraints()  # PostgreSQL truncates no table with deferred checks still to be made
    with refused(), connection.cursor() as cursor:
        cursor.execute(f"{statement} people_auditentry")
    assert AuditEntry.objects.filter(pk=row.pk).exists()
