"""The program before an upgrade writes into the tables after it, which have columns that it doesn't know."""

from __future__ import annotations

from typing import Any

import pytest
from django.db import connection

from tests.mills.log_shop import Shop
from wearlog.people.models import Mill, User
from wearlog.reminders.models import OutboxRow
from wearlog.runs.models import Run

pytestmark = pytest.mark.django_db


def written_without(model: Any, unknown: set[str], **values: Any) -> Any:
    """Stored by a statement that names every column but those, as the program before them does."""
    record = model(**values)
    columns = [field for field in model._meta.concrete_fields if field.name not in unknown]
    columns = [field for field in columns if not (field.primary_key and record.pk is None)]
    prepared = [field.get_db_prep_save(field.pre_save(record, True), connection) for field in columns]
    names = ", ".join(f'"{field.column}"' for field in columns)
    places = ", ".join(["%s"] * len(columns))
    with connection.cursor() as cursor:
        cursor.execute(f'INSERT INTO "{model._meta.db_table}" ({names}) VALUES ({places})', prepared)
    return model.objects.get()


def test_the_mill_and_people_before_they_had_a_language() -> None:
    assert written_without(Mill, {"language"}, pk=1, name="Mill").language == "en"
    assert written_without(User, {"language"}, username="ada").language == ""


def test_a_run_before_seed_could_be_guessed(mill: Mill) -> None:
    shop = Shop()
    values = {"ref": "r-1", "press": shop.north, "crop": shop.rape, "started_at": "2026-03-02T06:00:00Z"}
    more = {"ends_at": "2026-03-02T07:00:00Z", "hours_h": "1", "seed_kg": "50"}
    assert written_without(Run, {"seed_how"}, **values, **more).seed_how == ""


def test_a_message_before_it_was_told_in_stages(operator: User) -> None:
    row = written_without(
        OutboxRow, {"telling"}, dedupe_key="k", person=operator, stage="due",
        made_at="2026-03-02T06:00:00Z", next_attempt_at="2026-03-02T06:00:00Z",
    )  # fmt: skip
    assert row.telling == ""
