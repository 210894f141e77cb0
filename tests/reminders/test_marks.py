"""Seen, held back, given: who is told and who is not, and that done work ends it."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from django.db import IntegrityError, transaction

from tests.dates import at
from tests.mills.greasing import COMING, DUE, OVERDUE, Greasing
from tests.reminders.smtp import MailServer
from wearlog.people.models import AuditEntry, Role, User
from wearlog.people.refusals import NotAllowed, Refused
from wearlog.reminders import marks
from wearlog.reminders.models import Mark, OutboxRow
from wearlog.reminders.outbox.actions import scan, send_due
from wearlog.reminders.outbox.calls import calls_now
from wearlog.reminders.outbox.keys import item_key
from wearlog.reminders.outbox.queries import messages_now

DAY = timedelta(days=1)
FRIDAY = date(2026, 4, 3)


@pytest.fixture
def key(greasing: Greasing, operator: User, owner: User) -> str:
    """The name of this cycle of the greasing."""
    (call,) = calls_now(at=DUE)
    return item_key(call.item)


def people_reminded(now: object) -> list[str]:
    return sorted(message.person.username for message in messages_now(at=now).values())  # type: ignore[arg-type]


def waiting() -> list[tuple[str, str]]:
    rows = OutboxRow.objects.filter(state="pending").order_by("person__username")
    return [(row.person.username, row.telling) for row in rows]


# -------- seen


def test_who_has_seen_it_is_not_told_of_that_stage_and_others_are(key: str, operator: User) -> None:
    scan(at=DUE)
    marks.mark_seen(by=operator, at=DUE, key=key)
    assert people_reminded(DUE) == ["owner"]
    scan(at=DUE)
    assert waiting() == [("owner", "due")]


def test_the_next_stage_is_told_again(key: str, operator: User) -> None:
    marks.mark_seen(by=operator, at=COMING, key=key)
    assert people_reminded(COMING) == ["owner"]
    assert people_reminded(DUE) == ["operator", "owner"]


def test_what_is_overdue_is_seen_for_its_week(key: str, operator: User) -> None:
    """The first week of being overdue ends on 14 April."""
    marks.mark_seen(by=operator, at=OVERDUE, key=key)
    assert people_reminded(at("2026-04-14 08:00")) == ["owner"]
    assert people_reminded(at("2026-04-15 08:00")) == ["operator", "owner"]


def test_seeing_it_twice_is_one_mark_with_one_line_in_the_trail(key: str, operator: User) -> None:
    first = marks.mark_seen(by=operator, at=DUE, key=key)
    assert marks.mark_seen(by=operator, at=DUE + DAY, key=key) == first
    assert AuditEntry.objects.filter(action="mark seen").count() == 1


# -------- held back


def test_what_is_held_back_is_told_to_nobody_until_its_day_and_then_anew(
    key: str, operator: User, smtp: MailServer
) -> None:
    scan(at=DUE)
    send_due(at=DUE, limit=10)
    marks.hold_back(by=operator, at=DUE, key=key, until_on=FRIDAY, reason="The gun is broken.")
    assert people_reminded(at("2026-04-02 21:59")) == []  # 23:59 in Vienna
    assert people_reminded(at("2026-04-02 22:00")) == ["operator", "owner"]
    friday = at("2026-04-03 08:00")
    scan(at=friday)
    assert waiting() == [("operator", f"due after {Mark.objects.get().pk}")] + [
        ("owner", f"due after {Mark.objects.get().pk}")
    ]
    send_due(at=friday, limit=10)
    scan(at=friday + timedelta(hours=1))
    assert waiting() == []
    assert len(smtp.mails) == 4


def test_a_hold_withdraws_what_waits_even_where_no_scan_came_between(
    key: str, operator: User, smtp: MailServer
) -> None:
    scan(at=DUE)
    marks.hold_back(by=operator, at=DUE, key=key, until_on=FRIDAY, reason="Parts on the way.")
    assert send_due(at=DUE, limit=10).withdrawn == 2
    assert smtp.mails == []


def test_a_new_hold_replaces_the_one_that_stands(key: str, operator: User, owner: User) -> None:
    first = marks.hold_back(by=operator, at=DUE, key=key, until_on=FRIDAY, reason="No time.")
    marks.hold_back(by=owner, at=DUE, key=key, until_on=date(2026, 4, 20), reason="No grease.")
    first.refresh_from_db()
    assert first.ended_by == owner
    (call,) = calls_now(at=DUE)
    assert call.marks.held is not None
    assert (call.marks.held.until_on, call.marks.held.reason) == (date(2026, 4, 20), "No grease.")


def test_taken_back_it_is_told_as_if_it_had_never_been(key: str, operator: User, smtp: MailServer) -> None:
    scan(at=DUE)
    send_due(at=DUE, limit=10)
    mark = marks.hold_back(by=operator, at=DUE, key=key, until_on=FRIDAY, reason="No time.")
    marks.take_back(by=operator, at=DUE, mark_id=mark.pk)
    scan(at=DUE)
    assert waiting() == [], "it was told before"
    assert people_reminded(DUE) == ["operator", "owner"]


@pytest.mark.parametrize(
    ("until_on", "reason", "field"),
    [
        (None, "No time.", "until_on"),
        (date(2026, 4, 1), "No time.", "until_on"),
        (date(2027, 4, 3), "No time.", "until_on"),
        (FRIDAY, "  ", "reason"),
        (FRIDAY, "x" * 501, "reason"),
    ],
)
def test_a_hold_needs_a_day_to_come_within_a_year_and_a_reason(
    key: str, operator: User, until_on: date | None, reason: str, field: str
) -> None:
    with pytest.raises(Refused) as refused:
        marks.hold_back(by=operator, at=DUE, key=key, until_on=until_on, reason=reason)
    assert refused.value.field == field
    assert not Mark.objects.exists()


# -------- given


def test_what_is_given_is_told_to_that_person_alone(key: str, operator: User, owner: User) -> None:
    marks.give_to(by=owner, at=DUE, key=key, person=operator)
    assert people_reminded(DUE) == ["operator"]
    assert people_reminded(OVERDUE) == ["operator"]


@pytest.mark.parametrize("changes", [{"gets_mail": False}, {"email": ""}, {"is_active": False}])
def test_where_that_person_gets_no_mail_the_others_go_on_being_told(
    key: str, operator: User, owner: User, changes: dict[str, object]
) -> None:
    marks.give_to(by=owner, at=DUE, key=key, person=operator)
    User.objects.filter(pk=operator.pk).update(**changes)
    assert people_reminded(DUE) == ["owner"]


def test_it_goes_on_to_another_and_back_to_everybody(key: str, operator: User, owner: User) -> None:
    marks.give_to(by=owner, at=DUE, key=key, person=operator)
    again = marks.give_to(by=owner, at=DUE, key=key, person=operator)
    assert Mark.objects.count() == 1
    second = marks.give_to(by=operator, at=DUE, key=key, person=owner)
    assert again.pk != second.pk
    assert people_reminded(DUE) == ["owner"]
    marks.take_back(by=owner, at=DUE, mark_id=second.pk)
    assert people_reminded(DUE) == ["operator", "owner"]


def test_nothing_is_given_to_who_may_not_log(key: str, owner: User) -> None:
    looker = User.objects.create_user("looker", email="looker@mill.example", role=Role.VIEWER)
    for person in (looker, None):
        with pytest.raises(Refused) as refused:
            marks.give_to(by=owner, at=DUE, key=key, person=person)
        assert refused.value.field == "person"


# -------- all of them


def test_done_work_ends_every_mark_and_a_correction_brings_them_back(
    greasing: Greasing, key: str, operator: User, owner: User
) -> None:
    marks.give_to(by=owner, at=DUE, key=key, person=operator)
    marks.mark_seen(by=operator, at=DUE, key=key)
    done = greasing.log(at("2026-04-01 09:00"))
    later = at("2026-05-02 09:00")
    assert people_reminded(later) == ["operator", "owner"]
    (call,) = calls_now(at=later)
    assert not call.marks.has_any
    done.delete()
    greasing.correct(at("2026-03-01 12:00"))
    (call,) = calls_now(at=DUE)
    assert call.marks.given is not None


def test_what_was_done_meanwhile_is_refused(greasing: Greasing, key: str, operator: User) -> None:
    greasing.log(at("2026-04-01 07:30"))
    for act in (
        lambda: marks.mark_seen(by=operator, at=DUE, key=key),
        lambda: marks.hold_back(by=operator, at=DUE, key=key, until_on=FRIDAY, reason="No time."),
        lambda: marks.give_to(by=operator, at=DUE, key=key, person=operator),
    ):
        with pytest.raises(Refused, match="done or corrected meanwhile"):
            act()
    assert not Mark.objects.exists()


def test_who_only_looks_says_nothing(key: str, operator: User) -> None:
    mark = marks.mark_seen(by=operator, at=DUE, key=key)
    looker = User.objects.create_user("looker", role=Role.VIEWER)
    for act in (
        lambda: marks.mark_seen(by=looker, at=DUE, key=key),
        lambda: marks.hold_back(by=looker, at=DUE, key=key, until_on=FRIDAY, reason="No time."),
        lambda: marks.give_to(by=looker, at=DUE, key=key, person=operator),
        lambda: marks.take_back(by=looker, at=DUE, mark_id=mark.pk),
    ):
        with pytest.raises(NotAllowed):
            act()


def test_the_trail_says_who_said_what_when_and_why(key: str, operator: User, owner: User) -> None:
    mark = marks.hold_back(by=operator, at=DUE, key=key, until_on=FRIDAY, reason="No time.")
    marks.take_back(by=owner, at=DUE + DAY, mark_id=mark.pk)
    marks.take_back(by=owner, at=DUE + DAY, mark_id=mark.pk)
    trail = list(AuditEntry.objects.order_by("pk").values_list("action", "by_name", "reason"))
    assert trail == [("hold back", "Oskar", "No time."), ("take back", "Olga", "")]


def test_a_mark_that_is_not_there_cannot_be_taken_back(key: str, operator: User) -> None:
    with pytest.raises(Refused, match="not here"):
        marks.take_back(by=operator, at=DUE, mark_id=999)


@pytest.mark.parametrize(
    "wrong",
    [
        {"kind": "lost"},
        {"kind": "held", "reason": "No time."},
        {"kind": "held", "until_on": FRIDAY},
        {"kind": "given"},
        {"kind": "seen"},
    ],
)
def test_the_database_refuses_a_mark_that_says_nothing(
    key: str, operator: User, wrong: dict[str, object]
) -> None:
    with pytest.raises(IntegrityError), transaction.atomic():
        Mark.objects.create(item_key=key, rule="r", press="P1", made_at=DUE, made_by=operator, **wrong)


def test_the_database_keeps_one_hold_one_owner_and_one_sight_of_a_person(key: str, operator: User) -> None:
    for one in (
        {"kind": "held", "reason": "No time.", "until_on": FRIDAY},
        {"kind": "given", "given_to": operator},
        {"kind": "seen", "telling": "due"},
    ):
        row = {"item_key": key, "rule": "r", "press": "P1", "made_at": DUE, "made_by": operator, **one}
        Mark.objects.create(**row)
        with pytest.raises(IntegrityError), transaction.atomic():
            Mark.objects.create(**row)
