"""Once a year: the look at each press's procedure, and the instruction of each person."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

import pytest
from django.db import IntegrityError, transaction

from tests.dates import at
from wearlog.equipment.models import Press
from wearlog.forecasts.memory.queries import due_items
from wearlog.lockout.isolation.actions import NewLock
from wearlog.lockout.models import Yearly, YearlyLook
from wearlog.lockout.yearly.looks import last_looks, missing
from wearlog.logbook import actions, lockouts
from wearlog.logbook.entries import NewWork
from wearlog.people.models import AuditEntry, Role, User
from wearlog.people.refusals import NotAllowed, Refused
from wearlog.service.models import Rule, Service

NOW = at("2026-03-10 08:00")
TODAY = date(2026, 3, 10)


@pytest.fixture
def press(owner: User) -> Press:
    return Press.objects.create(code="P1", name="North press", commissioned_on=date(2024, 1, 1))


@pytest.fixture
def anna(owner: User) -> User:
    return User.objects.create_user("anna", name="Anna", role=Role.OPERATOR)


def looked(owner: User, press: Press, **how: Any) -> list[Service]:
    given = {
        "by": owner,
        "at": NOW,
        "kind": "procedure",
        "press_ids": [press.pk],
        "done_at": NOW,
        "looked_by": "Olga",
        "people": [],
        **how,
    }
    return lockouts.record_yearly_look(**given)


def test_one_touch_makes_a_rule_for_the_procedures_and_one_for_each_person_who_logs(
    owner: User, anna: User, press: Press
) -> None:
    User.objects.create_user("vera", name="Vera", role=Role.VIEWER)
    made = lockouts.make_yearly_rules(by=owner, at=NOW)
    assert [rule.code for rule in made] == [
        "Yearly look at the lockout procedure",
        "Yearly instruction: Anna",
        "Yearly instruction: Olga",
    ]
    assert {(rule.every_days, rule.lead_days, rule.action) for rule in made} == {(365, 30, "inspect")}
    assert not missing()
    assert lockouts.make_yearly_rules(by=owner, at=NOW) == []
    assert AuditEntry.objects.filter(record="rule", action="add").count() == 3


def test_somebody_who_joins_later_is_asked_about_and_added(owner: User, press: Press) -> None:
    lockouts.make_yearly_rules(by=owner, at=NOW)
    ben = User.objects.create_user("ben", name="Ben", role=Role.OPERATOR)
    assert missing().people == [ben]
    assert [rule.code for rule in lockouts.make_yearly_rules(by=owner, at=NOW)] == ["Yearly instruction: Ben"]


def test_an_operator_makes_no_rules_and_records_no_look(owner: User, anna: User, press: Press) -> None:
    with pytest.raises(NotAllowed):
        lockouts.make_yearly_rules(by=anna, at=NOW)
    lockouts.make_yearly_rules(by=owner, at=NOW)
    with pytest.raises(NotAllowed):
        looked(anna, press, people=[anna])


def test_they_are_due_as_everything_else_is_and_a_record_begins_a_new_year(
    owner: User, anna: User, press: Press
) -> None:
    """Commissioned in January 2024, so overdue in March 2026; the year after the record ends on
    2027-03-10 (365 days, no leap day between)."""
    lockouts.make_yearly_rules(by=owner, at=NOW)
    states = {item.rule: item.state for item in due_items(as_of=TODAY)}
    assert states == dict.fromkeys(states, "overdue")
    assert len(states) == 3
    looked(owner, press, people=[anna])
    looked(owner, press, kind="instruction", people=[anna])
    after = {item.rule: (item.state, item.due_on) for item in due_items(as_of=TODAY)}
    assert after["Yearly look at the lockout procedure"] == ("later", date(2027, 3, 10))
    assert after["Yearly instruction: Anna"] == ("later", date(2027, 3, 10))
    assert after["Yearly instruction: Olga"][0] == "overdue"
    assert all(item.caution.text for item in due_items(as_of=TODAY))


def test_looking_at_the_press_is_no_look_at_its_procedure(owner: User, press: Press) -> None:
    lockouts.make_yearly_rules(by=owner, at=NOW)
    Rule.objects.create(code="look", action="inspect", every_days=30)
    entry = NewWork(press_id=press.pk, action="inspect", done_at=NOW)
    actions.log_work(by=owner, at=NOW, entry=entry)
    after = {item.rule: item.state for item in due_items(as_of=TODAY)}
    assert after["look"] == "later"
    assert after["Yearly look at the lockout procedure"] == "overdue"


def test_the_record_names_the_press_the_day_the_people_and_who_looked(
    owner: User, anna: User, press: Press
) -> None:
    """What 1910.147(c)(6)(ii) wants kept, in own words."""
    lockouts.make_yearly_rules(by=owner, at=NOW)
    (service,) = looked(owner, press, people=[anna], others="Emil Exempel", finding="Tag Q1 anew.")
    assert (service.press, service.done_at, service.done_by) == (press, NOW, "Olga")
    assert service.finding == "Lockout procedure looked at by Olga, with Anna, Emil Exempel. Tag Q1 anew."


def test_an_instruction_is_a_line_for_each_person_and_press(owner: User, anna: User, press: Press) -> None:
    other = Press.objects.create(code="P2", name="South press")
    lockouts.make_yearly_rules(by=owner, at=NOW)
    ben = User.objects.create_user("ben", name="Ben", role=Role.OPERATOR)
    lockouts.make_yearly_rules(by=owner, at=NOW)
    done = looked(owner, press, kind="instruction", press_ids=[press.pk, other.pk], people=[anna, ben])
    assert sorted((str(line.press), str(line.rule), line.finding) for line in done) == [
        ("North press", "Yearly instruction: Anna", "Instructed by Olga: Anna."),
        ("North press", "Yearly instruction: Ben", "Instructed by Olga: Ben."),
        ("South press", "Yearly instruction: Anna", "Instructed by Olga: Anna."),
        ("South press", "Yearly instruction: Ben", "Instructed by Olga: Ben."),
    ]
    last = {(row.look.rule.code, str(row.press)): row.service for row in last_looks()}
    assert last["Yearly instruction: Ben", "South press"] in done
    assert last["Yearly instruction: Olga", "South press"] is None


@pytest.mark.parametrize(
    ("how", "words", "field"),
    [
        ({"looked_by": " "}, "Write who looked", "looked_by"),
        ({"people": []}, "Tick the people", "people"),
        ({"press_ids": []}, "Tick the presses", "presses"),
        ({"looked_by": "anna"}, "can't look at their own use of it", "looked_by"),
    ],
)
def test_what_is_missing_or_wrong_is_said_at_its_field(
    owner: User, anna: User, press: Press, how: dict[str, Any], words: str, field: str
) -> None:
    lockouts.make_yearly_rules(by=owner, at=NOW)
    with pytest.raises(Refused, match=words) as refusal:
        looked(owner, press, **{"people": [anna], **how})
    assert refusal.value.field == field
    assert not Service.objects.exists()


def test_without_rules_a_look_says_to_make_them_first(owner: User, anna: User, press: Press) -> None:
    for kind in ("procedure", "instruction"):
        with pytest.raises(Refused, match="Make the yearly rules first"):
            looked(owner, press, kind=kind, people=[anna])


def test_a_look_is_recorded_while_the_procedure_is_in_use(owner: User, anna: User, press: Press) -> None:
    lockouts.make_yearly_rules(by=owner, at=NOW)
    lockouts.fit_locks(
        by=anna,
        at=NOW,
        press_id=press.pk,
        work="clean",
        locks=[NewLock(number="7", source_name="Main motor")],
    )
    assert looked(
        owner, press, people=[anna], done_at=NOW + timedelta(minutes=5), at=NOW + timedelta(hours=1)
    )


def test_a_rule_that_is_removed_takes_its_mark_along_and_is_missing_again(owner: User, press: Press) -> None:
    (procedure, _person) = lockouts.make_yearly_rules(by=owner, at=NOW)
    actions.remove_thing(by=owner, at=NOW, thing=procedure)
    assert missing().procedure
    assert YearlyLook.objects.count() == 1


def test_the_database_wants_a_person_for_an_instruction(owner: User, press: Press) -> None:
    rule = Rule.objects.create(code="r", action="inspect", every_days=365)
    for kind, person in ((Yearly.INSTRUCTION, None), (Yearly.PROCEDURE, owner)):
        with pytest.raises(IntegrityError), transaction.atomic():
            YearlyLook.objects.create(rule=rule, kind=kind, person=person)


def test_rules_that_came_with_a_logbook_are_taken_over_and_two_of_one_name_are_told_apart(
    owner: User, press: Press
) -> None:
    old = Rule.objects.create(
        code="Yearly look at the lockout procedure", action="inspect", press=press, every_days=300
    )
    User.objects.create_user("olga2", name="Olga", role=Role.OPERATOR)
    made = lockouts.make_yearly_rules(by=owner, at=NOW)
    assert made[0] == old
    assert made[0].every_days == 300
    assert sorted(rule.code for rule in made[1:]) == [
        "Yearly instruction: Olga",
        "Yearly instruction: Olga (owner)",
    ]
