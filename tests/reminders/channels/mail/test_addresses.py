"""Addresses that refuse for good: stopped, told to the owners, taken up again; and what is merely slow."""

from __future__ import annotations

from datetime import timedelta
from email.message import EmailMessage

import pytest
from django.core.management import call_command
from django.db import IntegrityError, transaction
from django.test import Client
from pytest_django import Settings

from tests.dates import at
from tests.mills.greasing import DUE, Greasing
from tests.reminders.smtp import DROP, SILENT, MailServer
from wearlog.people.models import AuditEntry, User
from wearlog.people.refusals import NotAllowed
from wearlog.reminders.channels.mail import addresses
from wearlog.reminders.channels.mail.notices import look_after
from wearlog.reminders.models import OutboxRow, OutboxState, StopNotice, StoppedAddress
from wearlog.reminders.outbox.actions import Outcome, scan, send_due, send_one

MINUTE, HOUR, DAY = timedelta(minutes=1), timedelta(hours=1), timedelta(days=1)


@pytest.fixture
def row(greasing: Greasing, operator: User) -> OutboxRow:
    """One row that waits: Oskar's."""
    scan(at=DUE)
    return OutboxRow.objects.get()


def again(row: OutboxRow) -> OutboxRow:
    return OutboxRow.objects.get(pk=row.pk)


def refuse_oskar(smtp: MailServer, times: int = 1) -> None:
    smtp.rcpt["operator@mill.example"] = ["550 5.1.1 no such person"] * times


def stop_oskar(row: OutboxRow, smtp: MailServer) -> StoppedAddress:
    refuse_oskar(smtp)
    send_one(row_id=row.pk, at=DUE)
    stopped = StoppedAddress.objects.not_cleared().get()
    assert isinstance(stopped, StoppedAddress)
    return stopped


def words_of(mail: EmailMessage) -> str:
    part = mail.get_body(("plain",))
    assert part is not None
    return " ".join(part.get_content().split())


# -------- refused for good


@pytest.mark.parametrize("answers", ["rcpt", "data"])
def test_an_address_that_refuses_for_good_is_stopped_with_the_servers_words_and_the_time(
    row: OutboxRow, smtp: MailServer, answers: str
) -> None:
    getattr(smtp, answers)["operator@mill.example"] = ["550 5.1.1 no such person"]
    assert send_one(row_id=row.pk, at=DUE) is Outcome.FAILED
    stopped = StoppedAddress.objects.get()
    assert (stopped.channel, stopped.address) == ("mail", "operator@mill.example")
    assert (stopped.reason, stopped.stopped_at) == ("550 5.1.1 no such person", DUE)
    assert again(row).state == OutboxState.FAILED


def test_nothing_more_is_tried_at_a_stopped_address_and_the_rest_goes_on(
    row: OutboxRow, greasing: Greasing, owner: User, smtp: MailServer
) -> None:
    stop_oskar(row, smtp)
    scan(at=DUE + 9 * DAY)  # overdue: a new message to each
    refuse_oskar(smtp, times=1)
    done = send_due(at=DUE + 9 * DAY, limit=10)
    assert (done.sent, done.given_up) == (1, 1)
    assert {mail["To"] for mail in smtp.mails} == {"owner@mill.example"}
    assert smtp.rcpt["operator@mill.example"], "the server was not asked again"
    late = OutboxRow.objects.get(person__username="operator", telling__startswith="overdue")
    assert late.last_error == "operator@mill.example is stopped: 550 5.1.1 no such person"


@pytest.mark.parametrize("answer", ["530 5.7.0 log in first", "538 encryption required", "535 bad password"])
def test_an_answer_that_asks_us_for_a_login_stops_no_address(
    row: OutboxRow, smtp: MailServer, answer: str
) -> None:
    smtp.rcpt["operator@mill.example"] = [answer]
    assert send_one(row_id=row.pk, at=DUE) is Outcome.UNREACHABLE
    assert not StoppedAddress.objects.exists()


def test_a_server_that_does_not_take_our_own_address_stops_nobodys(row: OutboxRow, smtp: MailServer) -> None:
    smtp.sender = ["550 5.7.1 sender rejected"]
    assert send_one(row_id=row.pk, at=DUE) is Outcome.UNREACHABLE
    assert "sender rejected" in again(row).last_error
    assert not StoppedAddress.objects.exists()
    assert send_one(row_id=row.pk, at=DUE + MINUTE) is Outcome.SENT


# -------- the owners are told


def test_each_owner_is_told_once_by_mail_with_person_address_answer_and_where_to_go(
    row: OutboxRow, owner: User, smtp: MailServer, settings: Settings
) -> None:
    settings.SITE_URL = "https://wearlog.mill.example"
    stop_oskar(row, smtp)
    assert [look_after(at=DUE), look_after(at=DUE + MINUTE)] == [1, 0]
    (mail,) = smtp.mails
    assert mail["To"] == "owner@mill.example"
    assert mail["Subject"] == "Reminders to Oskar are stopped"
    assert mail["List-Unsubscribe"] is None
    for words in (
        "operator@mill.example refused a message for good.",
        "The answer was: 550 5.1.1 no such person",
        "Everybody else gets theirs as before.",
        "https://wearlog.mill.example/mail/addresses/",
    ):
        assert words in words_of(mail)
    assert StopNotice.objects.get().told_at == DUE


def test_the_owner_whose_own_address_is_stopped_is_not_mailed_about_it(
    greasing: Greasing, owner: User, smtp: MailServer
) -> None:
    scan(at=DUE)
    smtp.rcpt["owner@mill.example"] = ["550 no such person"] * 50
    send_due(at=DUE, limit=10)
    assert StoppedAddress.objects.count() == 1
    assert [look_after(at=DUE + n * MINUTE) for n in range(10)] == [0] * 10
    assert not StopNotice.objects.exists()


def test_two_owners_whose_mail_is_refused_do_not_tell_each_other_for_ever(
    row: OutboxRow, owner: User, smtp: MailServer
) -> None:
    User.objects.create_user("second", name="Ottilie", email="second@mill.example", role="owner")
    for name in ("owner", "second"):
        smtp.rcpt[f"{name}@mill.example"] = ["550 no such person"] * 50
    stop_oskar(row, smtp)
    for minute in range(30):
        look_after(at=DUE + minute * 10 * MINUTE)
    assert smtp.mails == []
    assert StoppedAddress.objects.count() == 3
    assert not StopNotice.objects.filter(ended_at__isnull=True).exists()
    assert len(smtp.rcpt["owner@mill.example"]) == 49, "one attempt, then its own stop"


def test_a_notice_that_finds_the_server_away_is_tried_again_and_then_told_once(
    row: OutboxRow, owner: User, smtp: MailServer, settings: Settings
) -> None:
    stop_oskar(row, smtp)
    there, settings.EMAIL_PORT = settings.EMAIL_PORT, 1  # nothing listens on port 1
    assert look_after(at=DUE) == 0
    settings.EMAIL_PORT = there
    assert look_after(at=DUE + 59 * timedelta(seconds=1)) == 0
    assert look_after(at=DUE + MINUTE) == 1
    assert len(smtp.mails) == 1


def test_the_copy_of_a_notice_after_a_lost_answer_has_the_same_message_id(
    row: OutboxRow, owner: User, smtp: MailServer
) -> None:
    stop_oskar(row, smtp)
    smtp.data["owner@mill.example"] = [DROP]
    assert [look_after(at=DUE), look_after(at=DUE + MINUTE)] == [0, 1]
    first, second = smtp.ids()
    assert first == second


def test_the_command_and_the_schedule_tell_the_owners(
    row: OutboxRow, owner: User, smtp: MailServer, capsys: pytest.CaptureFixture[str]
) -> None:
    refuse_oskar(smtp)
    call_command("remind", "--as-of-now", "2026-04-01T10:00:00+02:00")
    assert "Reminders to Oskar are stopped" in [mail["Subject"] for mail in smtp.mails]


# -------- clearing


def test_clearing_sends_what_was_missed_and_is_still_true(
    row: OutboxRow, owner: User, smtp: MailServer
) -> None:
    stopped = stop_oskar(row, smtp)
    addresses.clear(stopped=stopped, by=owner, at=DUE + HOUR)
    assert addresses.stopped_at(channel="mail", address="operator@mill.example") is None
    assert send_due(at=DUE + HOUR, limit=10).sent == 1
    assert smtp.mails[-1]["To"] == "operator@mill.example"
    assert AuditEntry.objects.filter(action="send there again", by=owner).count() == 1


def test_what_is_no_longer_true_by_then_is_not_sent(
    row: OutboxRow, greasing: Greasing, owner: User, smtp: MailServer
) -> None:
    stopped = stop_oskar(row, smtp)
    greasing.log(at("2026-04-01 09:00"))
    addresses.clear(stopped=stopped, by=owner, at=DUE + 2 * HOUR)
    done = send_due(at=DUE + 2 * HOUR, limit=10)
    assert (done.sent, done.withdrawn) == (0, 1)


def test_a_second_refusal_after_clearing_stops_the_address_again_and_tells_again(
    row: OutboxRow, owner: User, smtp: MailServer
) -> None:
    stopped = stop_oskar(row, smtp)
    look_after(at=DUE)
    addresses.clear(stopped=stopped, by=owner, at=DUE + HOUR)
    refuse_oskar(smtp)
    send_due(at=DUE + HOUR, limit=10)
    assert [mail["Subject"] for mail in smtp.mails] == ["Reminders to Oskar are stopped"] * 2
    assert len(set(smtp.ids())) == 2


def test_a_corrected_address_gets_what_was_missed_without_a_word_to_anybody(
    row: OutboxRow, owner: User, smtp: MailServer
) -> None:
    stop_oskar(row, smtp)
    look_after(at=DUE)
    User.objects.filter(username="operator").update(email="oskar@mill.example")
    look_after(at=DUE + MINUTE)
    assert not StoppedAddress.objects.not_cleared().exists()
    assert send_due(at=DUE + MINUTE, limit=10).sent == 1
    assert smtp.mails[-1]["To"] == "oskar@mill.example"


def test_clearing_twice_leaves_one_audit_row(row: OutboxRow, owner: User, smtp: MailServer) -> None:
    stopped = stop_oskar(row, smtp)
    addresses.clear(stopped=stopped, by=owner, at=DUE)
    addresses.clear(stopped=stopped, by=owner, at=DUE)
    assert AuditEntry.objects.filter(action="send there again").count() == 1


def test_another_operator_may_not_clear_it_and_the_person_may(
    row: OutboxRow, operator: User, smtp: MailServer
) -> None:
    stopped = stop_oskar(row, smtp)
    other = User.objects.create_user("other", name="Otto", role="operator")
    with pytest.raises(NotAllowed, match="another person's address"):
        addresses.clear(stopped=stopped, by=other, at=DUE)
    addresses.clear(stopped=stopped, by=operator, at=DUE)
    assert not StoppedAddress.objects.not_cleared().exists()


def test_the_database_keeps_one_standing_stop_for_each_address(operator: User) -> None:
    same = {"channel": "mail", "address": "a@mill.example", "person": operator, "reason": "no"}
    StoppedAddress.objects.create(**same, stopped_at=DUE, cleared_at=DUE)
    StoppedAddress.objects.create(**same, stopped_at=DUE)
    with pytest.raises(IntegrityError), transaction.atomic():
        StoppedAddress.objects.create(**same, stopped_at=DUE)


# -------- slow, away, or silent


def test_a_server_that_takes_the_mail_and_hangs_up_gets_one_copy_with_the_same_message_id(
    row: OutboxRow, smtp: MailServer
) -> None:
    smtp.data["operator@mill.example"] = [DROP]
    assert send_one(row_id=row.pk, at=DUE) is Outcome.UNREACHABLE
    assert send_one(row_id=row.pk, at=DUE + MINUTE) is Outcome.SENT
    assert smtp.ids() == [row.message_id, row.message_id]


@pytest.mark.parametrize("answers", ["rcpt", "data"])
def test_a_server_that_falls_silent_is_left_after_the_time_limit_and_tried_again(
    row: OutboxRow, smtp: MailServer, settings: Settings, answers: str
) -> None:
    settings.EMAIL_TIMEOUT = 0.3
    getattr(smtp, answers)["operator@mill.example"] = [SILENT]
    assert send_one(row_id=row.pk, at=DUE) is Outcome.UNREACHABLE
    assert again(row).next_attempt_at == DUE + MINUTE
    assert not StoppedAddress.objects.exists()
    assert send_one(row_id=row.pk, at=DUE + MINUTE) is Outcome.SENT


def test_what_is_tried_in_vain_for_24_hours_is_told_and_not_a_minute_before(
    row: OutboxRow, smtp: MailServer
) -> None:
    smtp.rcpt["operator@mill.example"] = ["451 try later"] * 100
    now = DUE
    while now < DUE + DAY - HOUR:
        send_one(row_id=row.pk, at=now)
        now = again(row).next_attempt_at
    assert addresses.stuck_since(DUE + DAY - MINUTE) is None
    assert addresses.stuck_since(DUE + DAY) == DUE
    smtp.rcpt.clear()
    send_one(row_id=row.pk, at=now)
    assert addresses.stuck_since(DUE + 2 * DAY) is None


def test_a_stopped_address_does_not_count_as_stuck(row: OutboxRow, smtp: MailServer) -> None:
    stop_oskar(row, smtp)
    assert addresses.stuck_since(DUE + 3 * DAY) is None


# -------- pages


def page_of(person: User, address: str = "/") -> str:
    client = Client()
    client.force_login(person)
    answer = client.get(address)
    assert answer.status_code == 200
    return " ".join(answer.content.decode().split())


def test_every_page_of_an_owner_says_that_an_address_is_stopped_and_leads_to_the_button(
    row: OutboxRow, owner: User, smtp: MailServer
) -> None:
    assert "gets no reminders" not in page_of(owner)
    stopped = stop_oskar(row, smtp)
    assert "Oskar gets no reminders: operator@mill.example refused one." in page_of(owner)
    page = page_of(owner, "/mail/addresses/")
    assert "550 5.1.1 no such person" in page
    assert f'action="/mail/addresses/{stopped.pk}/again/"' in page


def test_the_person_is_told_of_their_own_address_and_others_of_nothing(
    row: OutboxRow, operator: User, maintainer: User, smtp: MailServer
) -> None:
    stop_oskar(row, smtp)
    assert "Your reminders are stopped: operator@mill.example refused one." in page_of(operator)
    assert "operator@mill.example" not in page_of(maintainer)
    assert "operator@mill.example" not in page_of(maintainer, "/mail/addresses/")


def test_the_button_clears_and_a_get_of_its_address_does_not(
    row: OutboxRow, operator: User, smtp: MailServer
) -> None:
    stopped = stop_oskar(row, smtp)
    client = Client()
    client.force_login(operator)
    assert client.get(f"/mail/addresses/{stopped.pk}/again/").status_code == 405
    assert StoppedAddress.objects.not_cleared().exists()
    answer = client.post(f"/mail/addresses/{stopped.pk}/again/", follow=True)
    assert "Reminders go to operator@mill.example again" in answer.content.decode()
    assert not StoppedAddress.objects.not_cleared().exists()


def test_somebody_elses_button_is_refused_with_what_to_do(
    row: OutboxRow, maintainer: User, smtp: MailServer
) -> None:
    stopped = stop_oskar(row, smtp)
    client = Client()
    client.force_login(maintainer)
    answer = client.post(f"/mail/addresses/{stopped.pk}/again/")
    assert answer.status_code == 403
    assert "Ask them, or an owner of the mill" in answer.content.decode()
    assert StoppedAddress.objects.not_cleared().exists()


def test_every_page_says_since_when_reminders_have_not_got_out(row: OutboxRow, operator: User) -> None:
    """By the real clock the row has been waiting since April 2026."""
    OutboxRow.objects.update(first_attempt_at=DUE, last_error="451 try later")
    assert "Reminders have not got out since 1 April 2026, 10:00." in page_of(operator)
