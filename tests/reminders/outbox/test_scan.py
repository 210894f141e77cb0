"""Which messages the log calls for, and how the outbox follows it."""

from __future__ import annotations

from contextlib import suppress
from datetime import datetime, timedelta

import pytest
from django.core import mail
from django.db import transaction
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.dates import at
from tests.examples import bounded
from tests.mills.greasing import COMING, DUE, OVERDUE, Greasing
from tests.reminders.smtp import MailServer
from wearlog.people.models import Role, User
from wearlog.people.refusals import Refused
from wearlog.reminders import marks
from wearlog.reminders.models import OutboxRow, OutboxState, ReminderWish
from wearlog.reminders.outbox.actions import scan, send_due
from wearlog.reminders.outbox.calls import calls_now
from wearlog.reminders.outbox.keys import item_key
from wearlog.reminders.outbox.queries import messages_now


def rows(**wanted: object) -> list[tuple[str, str, str]]:
    found = OutboxRow.objects.filter(**wanted).order_by("stage", "person__username")
    return [(row.stage, row.person.username, row.state) for row in found]


def test_nothing_is_queued_before_the_lead_time(greasing: Greasing, operator: User) -> None:
    """Due on 31 March, lead 7 days: 23 March at noon in Vienna is a day too early."""
    assert scan(at=at("2026-03-23 11:00")) == 0
    assert rows() == []


def test_it_begins_at_midnight_of_the_mills_own_day(greasing: Greasing, operator: User) -> None:
    """Vienna is an hour ahead of UTC on 24 March 2026 (CET), so its day begins at 23:00 UTC."""
    assert scan(at=at("2026-03-23 22:59")) == 0
    assert scan(at=at("2026-03-23 23:00")) == 1


def test_each_stage_is_queued_once_for_each_person_who_works_there(
    greasing: Greasing, operator: User, maintainer: User, owner: User
) -> None:
    people = ["maintainer", "operator", "owner"]
    assert [scan(at=moment) for moment in (COMING, COMING, DUE, DUE, OVERDUE, OVERDUE)] == [3, 0, 3, 0, 3, 0]
    assert rows(stage="coming") == [("coming", name, "withdrawn") for name in people]
    assert rows(stage="due") == [("due", name, "withdrawn") for name in people]
    assert rows(stage="overdue") == [("overdue", name, "pending") for name in people]


@pytest.mark.parametrize(
    "changes",
    [
        {"role": Role.VIEWER},
        {"is_active": False},
        {"gets_mail": False},
        {"email": ""},
    ],
)
def test_who_only_looks_has_left_wants_no_mail_or_has_no_address_gets_none(
    greasing: Greasing, operator: User, owner: User, changes: dict[str, object]
) -> None:
    User.objects.filter(pk=owner.pk).update(**changes)
    assert scan(at=COMING) == 1
    assert rows() == [("coming", "operator", "pending")]


def test_work_that_was_done_withdraws_what_waits(greasing: Greasing, operator: User) -> None:
    scan(at=DUE)
    greasing.log(at("2026-04-01 09:00"))
    assert scan(at=at("2026-04-01 09:05")) == 0
    assert rows() == [("due", "operator", "withdrawn")]


def test_the_next_cycle_is_told_anew(greasing: Greasing, operator: User, smtp: MailServer) -> None:
    scan(at=DUE)
    send_due(at=DUE, limit=10)
    greasing.log(at("2026-04-01 09:00"))
    assert scan(at=at("2026-05-02 09:00")) == 1
    send_due(at=at("2026-05-02 09:00"), limit=10)
    assert len(set(smtp.ids())) == 2


def test_a_correction_withdraws_and_taking_it_back_revives(greasing: Greasing, operator: User) -> None:
    scan(at=DUE)
    greasing.correct(at("2026-03-20 12:00"))
    scan(at=DUE)
    assert rows() == [("due", "operator", "withdrawn")]
    greasing.correct(at("2026-03-01 12:00"))
    assert scan(at=DUE) == 1
    assert rows() == [("due", "operator", "pending")]


def test_what_was_sent_is_not_said_again_after_a_correction_to_and_fro(
    greasing: Greasing, operator: User, smtp: MailServer
) -> None:
    scan(at=DUE)
    send_due(at=DUE, limit=10)
    for when in ("2026-03-20 12:00", "2026-03-01 12:00"):
        greasing.correct(at(when))
        scan(at=DUE)
        send_due(at=DUE, limit=10)
    assert len(smtp.mails) == 1


def test_a_renamed_rule_or_press_repeats_nothing(greasing: Greasing, operator: User) -> None:
    scan(at=DUE)
    greasing.rule.code = "bearing: two strokes"
    greasing.rule.save()
    greasing.press.code = "P9"
    greasing.press.save()
    assert scan(at=DUE) == 0
    assert len(rows(state="pending")) == 1


def test_a_newcomer_is_told_of_what_is_due_now(greasing: Greasing, operator: User) -> None:
    scan(at=DUE)
    User.objects.create_user("new", email="new@mill.example", role=Role.OPERATOR)
    assert scan(at=DUE) == 1


def test_a_row_keeps_the_item_with_its_reason_and_caution(greasing: Greasing, operator: User) -> None:
    scan(at=DUE)
    row = OutboxRow.objects.get()
    assert (row.rule, row.press, row.stage, row.channel) == ("grease bearing", "P1", "due", "mail")
    assert row.item["due_on"] == "2026-03-31"
    assert row.item["why"]
    assert row.item["caution"]["isolation_points"] == ["Main motor (electrical): isolate at disconnect Q1"]


STEPS = st.lists(
    st.one_of(
        st.tuples(st.just("later"), st.integers(0, 40)),
        st.tuples(st.just("correct"), st.integers(-60, 60)),
        st.tuples(st.just("log"), st.just(0)),
        st.tuples(st.just("person"), st.sampled_from(["gets_mail", "is_active"])),
        st.tuples(st.just("rhythm"), st.sampled_from(["single", "daily", "weekly"])),
        st.tuples(st.just("hold"), st.integers(1, 20)),
        st.tuples(st.just("give"), st.sampled_from(["operator", "owner"])),
        st.tuples(st.just("seen"), st.just(0)),
        st.tuples(st.just("send"), st.integers(1, 3)),
    ),
    min_size=1,
    max_size=14,
)


def say(step: str, value: object, now: datetime, owner: User) -> None:
    """A mark on the greasing, where it is worth a word now."""
    for call in calls_now(at=now):
        key = item_key(call.item)
        if step == "hold":
            day = now.date() + timedelta(days=1 + int(str(value)))
            marks.hold_back(by=owner, at=now, key=key, until_on=day, reason="No time.")
        elif step == "give":
            marks.give_to(by=owner, at=now, key=key, person=User.objects.get(username=value))
        else:
            marks.mark_seen(by=owner, at=now, key=key)


@settings(
    max_examples=bounded(60, 25), deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(steps=STEPS)
def test_whatever_is_corrected_only_what_is_true_waits_and_nothing_is_sent_twice(
    greasing: Greasing, operator: User, owner: User, steps: list[tuple[str, object]]
) -> None:
    """F14: after each scan what waits is exactly what the log calls for and was not yet settled."""
    with transaction.atomic():
        mail.outbox = []
        now, logged = COMING, 0
        for step, value in steps:
            now += timedelta(minutes=1)
            if step == "later":
                now += timedelta(days=int(str(value)))
            elif step == "correct":
                greasing.correct(at("2026-03-01 12:00") + timedelta(days=int(str(value))))
            elif step == "log":
                logged += 1
                greasing.log(now - timedelta(hours=1), ref=f"again {logged}")
            elif step == "rhythm":
                ReminderWish.objects.update_or_create(person=owner, defaults={"rhythm": value})
            elif step in ("hold", "give", "seen"):
                with suppress(Refused):  # given to nobody who may log, by somebody who has left
                    say(step, value, now, owner)
            elif step == "person":
                person = User.objects.get(pk=owner.pk)
                User.objects.filter(pk=owner.pk).update(**{str(value): not getattr(person, str(value))})
            else:
                before = set(messages_now(at=now))
                send_due(at=now, limit=int(str(value)))
                told = OutboxRow.objects.filter(sent_at=now).exclude(stage="digest")
                sent = set(told.values_list("dedupe_key", flat=True))
                assert sent <= before
            if step != "send":
                scan(at=now)
                waiting = set(
                    OutboxRow.objects.waiting().exclude(stage="digest").values_list("dedupe_key", flat=True)
                )
                settled = OutboxRow.objects.filter(state__in=[OutboxState.SENT, OutboxState.FAILED])
                wanted = set(messages_now(at=now))
                assert waiting == wanted - set(settled.values_list("dedupe_key", flat=True))
        identities = [message.extra_headers["Message-ID"] for message in mail.outbox]
        assert len(identities) == len(set(identities))
        transaction.set_rollback(True)
