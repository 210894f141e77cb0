"""The page of the yearly looks."""

from __future__ import annotations

import pytest
from django.test import Client

from wearlog.equipment.models import Press
from wearlog.people.models import Mill, Role, User
from wearlog.service.models import Rule, Service


@pytest.fixture
def press(mill: Mill) -> Press:
    return Press.objects.create(code="P1", name="North press")


@pytest.fixture
def anna(mill: Mill) -> User:
    return User.objects.create_user("anna", name="Anna", role=Role.OPERATOR)


@pytest.fixture
def desk(client: Client, owner: User) -> Client:
    client.force_login(owner)
    return client


def test_the_page_offers_what_is_missing_and_one_touch_makes_it(
    desk: Client, press: Press, anna: User
) -> None:
    text = desk.get("/yearly/").content.decode()
    assert "No rule asks for the yearly look at the procedures." in text
    assert "No rule asks for the yearly instruction of: Anna, Olga." in text
    assert not Rule.objects.exists()
    answer = desk.post("/yearly/", follow=True)
    text = answer.content.decode()
    assert "Made: 3 yearly rules." in text
    assert "no record yet" in text
    assert "Make these rules" not in text


def test_a_due_look_leads_to_its_record_with_press_and_person_ticked(
    desk: Client, press: Press, anna: User
) -> None:
    desk.post("/yearly/")
    rule = Rule.objects.get(code="Yearly instruction: Anna")
    answer = desk.get(f"/log/work/?press={press.pk}&action=inspect&rule={rule.pk}", follow=True)
    assert answer.redirect_chain[-1][0] == f"/yearly/record/?look={rule.yearly_look.pk}&press={press.pk}"
    html = " ".join(answer.content.decode().split())
    assert f'name="people" value="{anna.pk}" id="id_people_0" checked' in html
    assert f'name="presses" value="{press.pk}" id="id_presses_0" checked' in html
    assert 'class="caution' in html


def test_a_look_is_recorded_and_shown(desk: Client, press: Press, anna: User) -> None:
    desk.post("/yearly/")
    typed = {"kind": "procedure", "presses": press.pk, "people": anna.pk, "looked_by": "Olga"}
    assert desk.post("/yearly/record/", {**typed, "looked_by": ""}).status_code == 422
    answer = desk.post("/yearly/record/", {**typed, "finding": "New tag for Q1."}, follow=True)
    assert "Lockout procedure looked at by Olga, with Anna. New tag for Q1." in answer.content.decode()
    assert Service.objects.get().done_by == "Olga"


def test_an_operator_reads_and_changes_nothing(client: Client, press: Press, anna: User) -> None:
    client.force_login(anna)
    assert client.get("/yearly/").status_code == 200
    assert client.post("/yearly/").status_code == 403
    assert client.get("/yearly/record/").status_code == 403
