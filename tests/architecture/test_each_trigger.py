"""A rule with one trigger alone, walked from the form to the mail: for each trigger that there is.

A new one in `Rule.TRIGGERS` is walked by itself: what is typed follows from what its field asks for,
and at this mill every trigger has tripped.
"""

from __future__ import annotations

import re
from datetime import date, timedelta
from html import unescape
from pathlib import Path
from typing import Any

import pytest
from django.core import mail
from django.db import models
from django.test import Client

from tests.dates import at
from tests.mills.forecast_shop import Shop, item
from tests.mills.wishes import any_hour
from wearlog.forecasts.triggers.all import ALL, BY_NAME
from wearlog.forecasts.triggers.trigger import Trigger
from wearlog.logbook.exchange.exporting import export_logbook
from wearlog.logbook.exchange.importing import import_logbook
from wearlog.people.fields import Tags
from wearlog.people.models import Role, User
from wearlog.reminders.outbox.actions import scan, send_due
from wearlog.runs.models import Crop
from wearlog.service.models import Rule
from wearlog.service.triggers import field_of, trigger_value, used_triggers

LAST_DAY = "2026-04-10"
MORNING_AFTER = at("2026-04-11 08:00")


@pytest.fixture
def shop(db: None) -> Shop:
    """A die that is worn out, on a press that has lost output, changed its crop, and met metal."""
    shop = Shop()
    die = shop.part("D-1", shop.type("D5", "die", new_mm=5.0, limit_mm=5.4))
    shop.fit(die, "2026-02-28", position="die")
    for number in range(35):
        day = date(2026, 3, 1) + timedelta(days=number)
        shop.run(
            f"{day} 06:00", 10, round((490, 510, 505, 495, 500)[number % 5] * (1 if number < 20 else 0.8))
        )
    shop.run("2026-04-06 06:00", 10, 500, crop="sunflower")
    shop.gauge("2026-04-07 08:00", die, 5.5)
    shop.incident("2026-04-08 08:00", "metal")
    return shop


@pytest.fixture
def maintainer(shop: Shop) -> User:
    user = User.objects.create_user(
        "maintainer", name="Mara", email="mara@mill.example", role=Role.MAINTAINER
    )
    any_hour(user)
    return user


def typed(field: Any) -> str:
    if field.is_relation:
        return str(Crop.objects.get(code="rapeseed").pk)
    if isinstance(field, models.BooleanField):
        return "on"
    return "metal" if isinstance(field, Tags) else "3"


def words(html: str) -> str:
    return re.sub(r"\s+", " ", unescape(html))


@pytest.mark.parametrize("name", list(BY_NAME))
def test_a_rule_with_one_trigger_goes_from_the_form_to_list_file_forecast_and_mail(
    name: str, shop: Shop, maintainer: User, client: Client, tmp_path: Path
) -> None:
    trigger, field = BY_NAME[name], field_of(BY_NAME[name].column)
    client.force_login(maintainer)
    empty = words(client.get("/rules/new/").content.decode())
    assert str(field.verbose_name) in empty
    assert f'name="{field.name}"' in empty

    values = {"code": "only one", "action": "inspect", "kind": "die", field.name: typed(field)}
    answer = client.post("/rules/new/", values, follow=True)
    assert answer.status_code == 200, words(answer.content.decode())
    rule = Rule.objects.get()
    assert used_triggers(rule) == [field.name]

    listed = words(client.get("/rules/").content.decode())
    told = trigger.summary(rule, "metric")
    assert told
    assert all(text in listed for text in told)

    asked = trigger_value(rule, field.name)
    export_logbook(by=None, target=tmp_path / "first")
    rule.delete()
    import_logbook(by=None, at=MORNING_AFTER, source=tmp_path / "first")
    rule = Rule.objects.get()
    assert trigger_value(rule, field.name) == asked
    export_logbook(by=None, target=tmp_path / "again")
    assert (tmp_path / "again" / "rules.csv").read_bytes() == (tmp_path / "first" / "rules.csv").read_bytes()

    found = item(LAST_DAY)
    assert (found.trigger, found.part) == (name, "D-1")
    assert found.state in ("due", "overdue")
    assert found.due_on is not None
    assert found.why.endswith(".")

    scan(at=MORNING_AFTER)
    send_due(at=MORNING_AFTER, limit=100)
    said = words(" ".join(str(message.body) for message in mail.outbox))
    assert found.why in said


def test_every_trigger_of_a_rule_has_one_object_in_the_same_order() -> None:
    assert [trigger.column for trigger in ALL] == list(Rule.TRIGGERS)
    assert len(BY_NAME) == len(ALL)
    assert all(isinstance(trigger, Trigger) for trigger in ALL)


def test_a_trigger_without_an_object_is_told_when_the_program_starts() -> None:
    from wearlog.forecasts.triggers.all import _in_order

    with pytest.raises(LookupError, match="Give each of them one file"):
        _in_order(ALL[1:])
