"""What a run can tell, walked field by field: form, stored run, history, correction, file and back.

A field that is added to `Run` is walked by itself: what is typed follows from what it takes.
"""

from __future__ import annotations

from dataclasses import fields
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from django.db import models
from django.test import Client
from django.utils import timezone

from tests.mills.log_shop import Shop
from tests.web.html import flat
from wearlog.logbook.exchange.exporting import export_logbook
from wearlog.logbook.exchange.importing import import_logbook
from wearlog.people.fields import Quantity, stated
from wearlog.runs.entries import NewRun
from wearlog.runs.models import Run
from wearlog.web.site.forms import new_ref
from wearlog.words.history import column_words

OTHERWISE = {"ref", "press", "crop", "started_at", "ended_at", "hours_h", "seed_kg", "seed_how", "through"}
"""Typed in ways of their own: which run it was, its time, its seed, a twin's barrels."""
PLAIN = [name for name in stated(Run) if name not in OTHERWISE]
OF_THE_FIRST_ENTRIES = {
    *("press_id", "crop_id", "seed_kg", "started_at", "ended_at", "hours_h", "meter_h", "new_meter", "ref"),
    *("lot", "oil_kg", "cake_kg", "foots_kg", "through", "moisture_pct", "seed_oil_pct", "cake_oil_pct"),
    *("head_c", "drive_hz", "motor_a", "energy_kwh", "dirt", "purge", "done_by", "note"),
}


def typed(field: Any) -> tuple[str, object]:
    """What is typed, and what is then stored."""
    if isinstance(field, Quantity):
        return "3", Decimal(3)
    if field.choices:
        value = next(value for value, _words in field.flatchoices if value)
        return value, value
    if isinstance(field, models.BooleanField):
        return "on", True
    return "as typed", "as typed"


@pytest.mark.parametrize("name", PLAIN)
def test_what_is_typed_goes_from_the_form_to_record_history_correction_and_file(
    name: str, phone: Client, shop: Shop, tmp_path: Path
) -> None:
    field = Run._meta.get_field(name)
    text, value = typed(field)
    asked = flat(phone.get(f"/log/run/?press={shop.north.pk}").content.decode())
    assert f'name="{name}"' in asked

    values = {"ref": new_ref(), "press": shop.north.pk, "crop": shop.rape.pk, "hours_h": "1", "seed": "50"}
    phone.post("/log/run/", {**values, "seed_unit": "kg", name: text})
    run = Run.objects.get()
    assert getattr(run, name) == value
    assert column_words(Run, name) in flat(phone.get(f"/log/run/{run.pk}/").content.decode())
    correction = phone.get(f"/log/run/{run.pk}/correct/").content.decode()
    assert f'name="{name}"' in correction

    export_logbook(by=None, target=tmp_path / "first")
    run.delete()
    import_logbook(by=None, at=timezone.now(), source=tmp_path / "first")
    assert getattr(Run.objects.get(), name) == value
    export_logbook(by=None, target=tmp_path / "again")
    assert (tmp_path / "again" / "runs.csv").read_bytes() == (tmp_path / "first" / "runs.csv").read_bytes()


def test_an_entry_typed_before_a_field_was_added_is_known_again() -> None:
    """A page sent twice, before and after the upgrade, is one run: its digest leaves out what it lacks."""
    later = {field.name for field in fields(NewRun) if field.metadata.get("came_later")}
    assert {field.name for field in fields(NewRun)} - later == OF_THE_FIRST_ENTRIES
