"""Claim, send, settle: who may send a row, what a mail server's answers lead to, when it is tried again."""

from __future__ import annotations

import socket
from collections.abc import Iterator
from datetime import datetime, timedelta

import pytest
from django.db import IntegrityError, transaction
from pytest_django import Settings

from tests.dates import at
from tests.mills.greasing import DUE, Greasing
from tests.mills.wishes import any_hour
from tests.reminders.smtp import MailServer
from wearlog.people.models import User
from wearlog.reminders.models import OutboxRow, OutboxState
from wearlog.reminders.outbox.actions import Outcome, claim, scan, send_due, send_one, settle

MINUTE = timedelta(minutes=1)


@pytest.fixture
def row(greasing: Greasing, operator: User) -> OutboxRow:
    """One row that waits."""
    scan(at=DUE)
    return OutboxRow.objects.get()


def again(row: OutboxRow) -> OutboxRow:
    return OutboxRow.objects.get(pk=row.pk)


def test_a_waiting_row_is_sent_once_and_settled(row: OutboxRow, smtp: MailServer) -> None:
    assert send_one(row_id=row.pk, at=DUE) is Outcome.SENT
    assert send_one(row_id=row.pk, at=DUE) is Outcome.NOT_MINE
    assert smtp.ids() == [row.message_id]
    assert smtp.mails[0]["To"] == "operator@mill.example"
    assert (again(row).state, again(row).sent_at) == (OutboxState.SENT, DUE)


def test_only_one_of_two_claims_gets_the_row(row: OutboxRow) -> None:
    assert claim(row_id=row.pk, at=DUE) is not None
    assert claim(row_id=row.pk, at=DUE) is None


def test_a_lease_that_ran_out_may_be_claimed_again(row: OutboxRow) -> None:
    """A sender that died holds its row for five minutes."""
    claim(row_id=row.pk, at=DUE)
    assert claim(row_id=row.pk, at=DUE + 5 * MINUTE - timedelta(seconds=1)) is None
    assert claim(row_id=row.pk, at=DUE + 5 * MINUTE) is not None


def test_who_lost_the_lease_settles_nothing(row: OutboxRow) -> None:
    first = claim(row_id=row.pk, at=DUE)
    second = claim(row_id=row.pk, at=DUE + 6 * MINUTE)
    assert first
    assert second
    assert not settle(first, state=OutboxState.FAILED)
    assert settle(second, state=OutboxState.SENT, sent_at=DUE)
    assert again(row).state == OutboxState.SENT


def test_a_row_that_is_not_there_is_nobodys(db: None) -> None:
    assert send_one(row_id=12345, at=DUE) is Outcome.NOT_MINE


@pytest.mark.parametrize("answers", ["rcpt", "data"])
def test_a_temporary_no_is_tried_again_after_1_5_15_30_and_every_30_minutes(
    row: OutboxRow, smtp: MailServer, answers: str
) -> None:
    getattr(smtp, answers)["operator@mill.example"] = ["451 try later"] * 6
    now = DUE
    for minutes in (1, 5, 15, 30, 30, 30):
        assert send_one(row_id=row.pk, at=now) is Outcome.RETRY
        assert again(row).next_attempt_at == now + minutes * MINUTE
        assert send_one(row_id=row.pk, at=now + minutes * MINUTE - timedelta(seconds=1)) is Outcome.NOT_MINE
        now += minutes * MINUTE
    assert "try later" in again(row).last_error
    assert send_one(row_id=row.pk, at=now) is Outcome.SENT
    assert again(row).last_error == ""
    assert len(smtp.mails) == 1


def test_a_temporary_no_for_five_days_is_given_up(
    row: OutboxRow, smtp: MailServer, greasing: Greasing
) -> None:
    """Five days after the first attempt, not after the row was made: the machine may have been off."""
    any_hour(row.person)
    smtp.rcpt["operator@mill.example"] = ["451 try later"] * 500
    now, attempts = DUE + timedelta(hours=6), 0
    begun = now
    while again(row).state == OutboxState.PENDING:
        outcome = send_one(row_id=row.pk, at=now)
        attempts += 1
        now = again(row).next_attempt_at
    assert outcome is Outcome.FAILED
    assert timedelta(days=5) <= now - begun < timedelta(days=5, minutes=30)
    assert 240 <= attempts <= 245  # 5 days / 30 min = 240, and the closer ones at the start


@pytest.mark.parametrize("answers", ["rcpt", "data"])
def test_a_final_no_ends_that_row_and_the_others_go_on(
    greasing: Greasing, operator: User, owner: User, smtp: MailServer, answers: str
) -> None:
    getattr(smtp, answers)["operator@mill.example"] = ["550 no such person"]
    scan(at=DUE)
    done = send_due(at=DUE, limit=10)
    assert (done.sent, done.given_up) == (1, 1)
    row = OutboxRow.objects.get(person=operator)
    assert row.state == OutboxState.FAILED
    assert "no such person" in row.last_error
    assert scan(at=DUE) == 0
    assert send_due(at=DUE + timedelta(days=1), limit=10).sent == 0


def test_a_server_that_is_away_ends_the_round_and_keeps_the_rows(
    greasing: Greasing, operator: User, owner: User, settings: Settings, smtp: MailServer
) -> None:
    scan(at=DUE)
    there, settings.EMAIL_PORT = settings.EMAIL_PORT, 1  # nothing listens on port 1
    done = send_due(at=DUE, limit=10)
    assert (done.sent, done.to_retry) == (0, 1)
    settings.EMAIL_PORT = there
    assert send_due(at=DUE + MINUTE, limit=10).sent == 2
    assert len(set(smtp.ids())) == 2


@pytest.fixture
def deaf_server() -> Iterator[int]:
    """Takes a connection and never says a word."""
    with socket.socket() as listening:
        listening.bind(("127.0.0.1", 0))
        listening.listen()
        yield int(listening.getsockname()[1])


def test_a_server_that_never_answers_is_left_after_the_time_limit(
    row: OutboxRow, settings: Settings, smtp: MailServer, deaf_server: int
) -> None:
    settings.EMAIL_PORT, settings.EMAIL_TIMEOUT = deaf_server, 0.3
    assert send_one(row_id=row.pk, at=DUE) is Outcome.UNREACHABLE
    assert again(row).next_attempt_at == DUE + MINUTE
    assert "timed out" in again(row).last_error


def test_the_site_has_a_time_limit_for_mail() -> None:
    """Django's default waits for ever."""
    from wearlog.config import settings as shipped

    assert shipped.EMAIL_TIMEOUT == 20


def test_a_row_that_cannot_be_written_is_set_aside_for_an_hour_and_the_rest_is_sent(
    greasing: Greasing, operator: User, owner: User, smtp: MailServer
) -> None:
    """An address with a line break in it makes Django refuse the header each time."""
    User.objects.filter(pk=operator.pk).update(email="bad\n@mill.example")
    scan(at=DUE)
    done = send_due(at=DUE, limit=10)
    assert (done.sent, done.to_retry) == (1, 1)
    waiting = OutboxRow.objects.get(person=operator)
    assert waiting.next_attempt_at == DUE + timedelta(hours=1)
    User.objects.filter(pk=operator.pk).update(email="good@mill.example")
    assert send_due(at=DUE + timedelta(hours=1), limit=10).sent == 1


@pytest.mark.parametrize("change", ["done", "no mail", "later stage"])
def test_what_is_no_longer_true_is_withdrawn_even_between_scan_and_sending(
    row: OutboxRow, greasing: Greasing, operator: User, smtp: MailServer, change: str
) -> None:
    now: datetime = DUE
    if change == "done":
        greasing.log(at("2026-04-01 07:30"))
    elif change == "no mail":
        User.objects.filter(pk=operator.pk).update(gets_mail=False)
    else:
        now = at("2026-04-10 08:00")
    assert send_one(row_id=row.pk, at=now) is Outcome.WITHDRAWN
    assert smtp.mails == []
    assert again(row).state == OutboxState.WITHDRAWN


def test_the_mail_tells_the_numbers_of_the_moment_it_is_sent(
    row: OutboxRow, greasing: Greasing, smtp: MailServer
) -> None:
    greasing.rule.instructions = "Three strokes now."
    greasing.rule.save()
    send_one(row_id=row.pk, at=DUE)
    body = smtp.mails[0].get_body(("plain",))
    assert body is not None
    assert "Three strokes now." in body.get_content()


def test_a_mail_parser_reads_both_parts_with_caution_and_isolation_point(
    row: OutboxRow, smtp: MailServer
) -> None:
    send_one(row_id=row.pk, at=DUE)
    (mail,) = smtp.mails
    assert mail.get_content_type() == "multipart/alternative"
    for kind in ("plain", "html"):
        part = mail.get_body((kind,))
        assert part is not None
        words = " ".join(part.get_content().split())
        assert "WARNING" in words
        assert "can start by itself" in words
        assert "Main motor (electrical): isolate at disconnect Q1" in words
    assert mail["Subject"] == "Due: Lubricate North press (grease bearing)"


def test_a_round_takes_no_more_than_its_limit(
    greasing: Greasing, operator: User, owner: User, maintainer: User, smtp: MailServer
) -> None:
    scan(at=DUE)
    assert [send_due(at=DUE, limit=2).sent for _ in range(3)] == [2, 1, 0]


def test_each_row_of_a_long_round_is_leased_from_its_own_moment(
    greasing: Greasing, operator: User, owner: User, smtp: MailServer
) -> None:
    scan(at=DUE)
    moments = iter([DUE + 2 * MINUTE, DUE + 9 * MINUTE])
    send_due(at=DUE, limit=10, clock=lambda: next(moments))
    sent = sorted(OutboxRow.objects.values_list("sent_at", flat=True))
    assert sent == [DUE + 2 * MINUTE, DUE + 9 * MINUTE]


@pytest.mark.parametrize(
    "changes",
    [
        {"state": "lost"},
        {"stage": "someday"},
        {"state": "sent", "sent_at": None},
        {"state": "leased", "leased_until": None},
    ],
)
def test_the_database_refuses_a_row_that_makes_no_sense(row: OutboxRow, changes: dict[str, object]) -> None:
    with pytest.raises(IntegrityError), transaction.atomic():
        OutboxRow.objects.filter(pk=row.pk).update(**changes)


def test_the_database_refuses_a_second_row_of_the_same_key(row: OutboxRow) -> None:
    row.pk = None
    with pytest.raises(IntegrityError), transaction.atomic():
        row.save(force_insert=True)
