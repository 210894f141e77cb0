"""What a test commits is gone before the next one, from every table that it may have filled."""

from __future__ import annotations

import pytest
from django.apps import apps
from django.db import connection
from django.test import TransactionTestCase

from tests import emptying
from tests.dates import at
from wearlog.people import audit, guards
from wearlog.people.models import Mill, User

pytestmark = pytest.mark.django_db(transaction=True)


def filled() -> set[str]:
    """Names of the tables that hold rows, asked of each model."""
    kept = emptying.MADE_WITH_THE_TABLES
    return {
        model._meta.db_table
        for model in apps.get_models(include_auto_created=True)
        if model._meta.managed and model._meta.db_table not in kept and model._default_manager.exists()
    }


def test_rows_go_that_refer_to_each_other_and_those_that_a_guard_keeps(mill: Mill, owner: User) -> None:
    audit.write(at=at("2026-03-01 06:00"), by=owner, action="add", record=mill)
    assert {"people_mill", "people_user", guards.AUDIT} <= filled()
    emptying.empty(connection)
    emptying.restore_guards(connection.alias)
    assert filled() == set()
    assert guards.missing() == []


def test_no_number_is_given_twice(mill: Mill, owner: User) -> None:
    used = owner.pk
    emptying.empty(connection)
    emptying.restore_guards(connection.alias)
    assert User.objects.create_user("next", name="Next").pk > used


def test_it_is_what_comes_after_each_such_test() -> None:
    assert TransactionTestCase._fixture_teardown is emptying.after_a_test
