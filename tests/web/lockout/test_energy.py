"""Energy sources started from a list for the build of the press."""

from __future__ import annotations

import pytest
from django.test import Client

from wearlog.equipment.models import Press
from wearlog.lockout.models import EnergySource
from wearlog.people.models import AuditEntry, Mill, User


@pytest.fixture
def press(mill: Mill) -> Press:
    return Press.objects.create(code="P1", name="North press")


@pytest.fixture
def desk(client: Client, owner: User) -> Client:
    client.force_login(owner)
    return client


def start_of(press: Press) -> str:
    return f"/presses/{press.pk}/energy/start/"


def test_first_the_build_is_asked_for(desk: Client, press: Press) -> None:
    text = desk.get(start_of(press)).content.decode()
    assert all(f'href="?build={build}"' in text for build in ("hole-cylinder", "cage", "twin"))


def test_the_page_proposes_release_and_proof_and_leaves_the_place_blank(desk: Client, press: Press) -> None:
    text = desk.get(start_of(press), {"build": "cage"}).content.decode()
    assert "wait until the screw stands still" in text
    assert "Which disconnect takes a lock, and where is it?" in text
    assert '<textarea name="motor-isolate_at" cols="40" rows="2"' in text
    assert "checked" not in text
    assert not EnergySource.objects.exists()


def test_only_ticked_rows_with_a_place_are_recorded_and_each_has_an_audit_row(
    desk: Client, press: Press
) -> None:
    answer = desk.post(
        start_of(press),
        {
            "build": "hole-cylinder",
            "motor-use": "on",
            "motor-source": "Main motor",
            "motor-isolate_at": "Q1 beside the door",
            "motor-release_by": "wait one minute",
            "motor-verify_by": "try the start",
            "heater-use": "on",
            "heater-source": "Heater",
            "heater-isolate_at": "F7 in the office",
            "pressure-source": "Pressure behind the die",
            "pressure-release_by": "loosen slowly",
        },
    )
    assert answer.status_code == 302
    assert list(
        EnergySource.objects.values_list("source", "kind", "isolate_at", "release_by", "verify_by")
    ) == [
        ("Heater", "electrical", "F7 in the office", "", ""),
        ("Main motor", "electrical", "Q1 beside the door", "wait one minute", "try the start"),
    ]
    assert AuditEntry.objects.filter(record="energysource", action="add").count() == 2


def test_a_ticked_row_without_a_place_saves_nothing_and_keeps_what_was_typed(
    desk: Client, press: Press
) -> None:
    answer = desk.post(
        start_of(press),
        {
            "build": "twin",
            "motor-use": "on",
            "motor-source": "Motor of the left barrel",
            "motor-isolate_at": "Q1",
            "shaft-use": "on",
            "shaft-source": "Tractor shaft",
            "shaft-release_by": "engine off",
        },
    )
    text = answer.content.decode()
    assert answer.status_code == 422
    assert "Tractor shaft or generator: say where, or untick it" in text
    assert "Motor of the left barrel" in text
    assert not EnergySource.objects.exists()


def test_a_place_without_its_tick_is_asked_about_instead_of_dropped(desk: Client, press: Press) -> None:
    answer = desk.post(start_of(press), {"build": "cage", "motor-source": "M", "motor-isolate_at": "Q1"})
    assert answer.status_code == 422
    assert "Tick it to record it" in answer.content.decode()


def test_two_rows_of_one_name_are_refused_at_the_second(desk: Client, press: Press) -> None:
    EnergySource.objects.create(press=press, source="Main motor", kind="electrical", isolate_at="Q1")
    row = {"heater-use": "on", "heater-source": "main motor", "heater-isolate_at": "F7"}
    answer = desk.post(start_of(press), {"build": "cage", **row})
    assert answer.status_code == 422
    assert "This press has a source of that name" in answer.content.decode()
    assert EnergySource.objects.count() == 1


def test_nothing_ticked_says_so(desk: Client, press: Press) -> None:
    answer = desk.post(start_of(press), {"build": "cage"})
    assert answer.status_code == 422
    assert "Nothing is ticked" in answer.content.decode()


def test_what_is_recorded_is_named_and_not_proposed(desk: Client, press: Press) -> None:
    EnergySource.objects.create(press=press, source="Main motor", kind="electrical", isolate_at="Q1")
    text = desk.get(start_of(press), {"build": "cage"}).content.decode()
    assert "Recorded already: Main motor." in text
    assert 'name="motor-use"' not in text


def test_an_operator_may_not_record_sources(client: Client, operator: User, press: Press) -> None:
    client.force_login(operator)
    assert client.get(start_of(press)).status_code == 403


def test_a_press_without_sources_leads_to_the_list(desk: Client, press: Press) -> None:
    text = desk.get(f"/presses/{press.pk}/energy/").content.decode()
    assert start_of(press) in text
    assert "No isolation points are recorded for this press" in text
