"""The audit trail is kept in English; who reads it on a page reads it in their own language."""

from __future__ import annotations

import ast
from datetime import date
from pathlib import Path

import pytest
from django.db import models
from django.test import Client
from django.utils import translation

from tests.dates import at
from tests.mills.log_shop import MORNING, Shop
from wearlog.equipment.models import Fitting, Part, PartType, Position, Press
from wearlog.lockout.models import EnergySource, Lock
from wearlog.people import audit
from wearlog.people.models import AuditEntry, Mill, User
from wearlog.runs.models import Crop, PlanEntry, Price, Reading, Run, ShiftNote
from wearlog.service.models import CropChange, Incident, LotHold, Measurement, Rule, Service
from wearlog.web.site.history import UNTOLD
from wearlog.words.history import ACTS, COLUMNS, column_words

RECORDS: tuple[type[models.Model], ...] = (
    Press, Position, PartType, Part, Fitting, Crop, Run, Reading, PlanEntry, Price, ShiftNote, Service,
    Measurement, Incident, LotHold, CropChange, Rule, EnergySource, Lock, User, Mill,
)  # fmt: skip
APPS = ("equipment", "runs", "service", "logbook")


@pytest.mark.parametrize("record", RECORDS, ids=lambda record: record.__name__)
def test_every_column_that_a_page_tells_of_has_words_of_its_own(record: type[models.Model]) -> None:
    bare = {
        field.name
        for field in record._meta.concrete_fields
        if field.attname not in UNTOLD
        and field.name not in audit.SECRET_FIELDS
        and column_words(record, field.attname) == field.name.replace("_", " ")
    }
    assert bare == set()


def test_what_the_trail_tells_beside_a_record_has_words_too() -> None:
    beside = {
        key.value
        for path in (Path(__file__).resolve().parents[3] / "wearlog").rglob("*.py")
        for node in ast.walk(ast.parse(path.read_text()))
        if isinstance(node, ast.Call) and ast.unparse(node.func) == "audit.write"
        for given in node.keywords
        if given.arg == "new" and isinstance(given.value, ast.Dict)
        for key in given.value.keys
        if isinstance(key, ast.Constant)
    }
    assert beside - UNTOLD == {"device", "digest", "photo"}
    assert beside - UNTOLD <= COLUMNS.keys()


def test_every_act_on_a_record_of_the_log_has_words_of_its_own() -> None:
    acts = set()
    for app in APPS:
        for path in (Path(__file__).resolve().parents[3] / "wearlog" / app).rglob("*.py"):
            for node in ast.walk(ast.parse(path.read_text())):
                if isinstance(node, ast.Call) and ast.unparse(node.func) == "audit.write":
                    (given,) = (each.value for each in node.keywords if each.arg == "action")
                    acts |= {
                        each.value
                        for each in ast.walk(given)
                        if isinstance(each, ast.Constant) and isinstance(each.value, str)
                    }
    assert len(acts) > 8
    assert acts - ACTS.keys() == set()


def test_the_trail_calls_a_record_by_one_name_whoever_writes_it(owner: User) -> None:
    price = Price(item="oil_kg", from_on=date(2026, 3, 1))
    with translation.override("de"):
        entry = audit.write(at=at("2026-03-01 06:30"), by=owner, action="add", record=price)
    assert entry.record_key == "oil_kg from 2026-03-01"


def test_a_history_names_what_it_refers_to_and_says_the_key_of_what_is_gone(
    client: Client, owner: User, shop: Shop
) -> None:
    work = Service.objects.create(
        ref="w", press=shop.north, position=shop.die_place, done_at=MORNING, action="polish"
    )
    for old, new in ((shop.screw_place.pk, shop.die_place.pk), (shop.die_place.pk, 98765)):
        AuditEntry.objects.create(
            at=MORNING, by_name="Olga", action="correct", record="service", record_id=work.pk,
            old={"position_id": old}, new={"position_id": new}, reason="It was another.",
        )  # fmt: skip
    client.force_login(owner)
    page = client.get(f"/log/work/{work.pk}/").content.decode()
    assert "North press · screw" in page
    assert "98765" in page
