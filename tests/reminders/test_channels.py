"""Channels by plug: what the house asks of one, and what becomes of a row by what it raises."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime, timedelta
from typing import ClassVar

import pytest
from django.core.exceptions import ImproperlyConfigured
from pytest_django import Settings

from tests.reminders.conftest import DUE, Greasing
from wearlog.people.models import User
from wearlog.reminders.actions import Outcome, scan, send_due, send_one
from wearlog.reminders.channels import Channel, OutOfReach, Parcel, RefusedHere, TryLater, channels
from wearlog.reminders.mail import MailChannel
from wearlog.reminders.models import OutboxRow, OutboxState, StoppedAddress
from wearlog.reminders.webhook import WebhookChannel

HERE = "tests.reminders.test_channels"


class Board:
    """A board on the wall that is written on: the channel of this test."""

    name = "board"
    written: ClassVar[list[str]] = []
    raises: ClassVar[list[Exception]] = []

    def wants(self, person: User) -> bool:
        return person.username == "operator"

    def address_of(self, person: User) -> str:
        return f"board of {person.username}"

    def deliver(self, parcel: Parcel, *, at: datetime) -> None:
        if self.raises:
            raise self.raises.pop(0)
        (item,) = parcel.items
        self.written.append(f"{item.press}: {item.action} by {parcel.person}, {parcel.row.dedupe_key}")


class Second(Board):
    """Calls itself as the first does."""


class Nameless(Board):
    name = ""


class Wordy(Board):
    name = "a board whose name is too long for the outbox"


@pytest.fixture
def board(settings: Settings) -> Iterator[type[Board]]:
    settings.REMINDER_CHANNELS = ["wearlog.reminders.mail.MailChannel", f"{HERE}.Board"]
    Board.written, Board.raises = [], []
    yield Board
    Board.written, Board.raises = [], []


@pytest.fixture
def row(greasing: Greasing, operator: User, board: type[Board]) -> OutboxRow:
    """The board's row; Oskar gets no mail."""
    User.objects.filter(pk=operator.pk).update(gets_mail=False)
    scan(at=DUE)
    return OutboxRow.objects.get()


def test_a_channel_that_the_settings_name_gets_the_rows_of_who_wants_it(
    row: OutboxRow, board: type[Board]
) -> None:
    assert row.channel == "board"
    assert send_one(row_id=row.pk, at=DUE) is Outcome.SENT
    assert board.written == [f"P1: lubricate by Oskar, {row.dedupe_key}"]


def test_a_person_with_two_channels_is_told_once_by_each(
    greasing: Greasing, operator: User, board: type[Board], mailoutbox: list[object]
) -> None:
    assert scan(at=DUE) == 2
    assert send_due(at=DUE, limit=10).sent == 2
    assert scan(at=DUE) == 0
    assert (len(board.written), len(mailoutbox)) == (1, 1)


@pytest.mark.parametrize(
    ("error", "outcome", "wait"),
    [
        (TryLater("busy"), Outcome.RETRY, timedelta(minutes=1)),
        (OutOfReach("away"), Outcome.UNREACHABLE, timedelta(minutes=1)),
        (ValueError("a mistake of the channel"), Outcome.SET_ASIDE, timedelta(hours=1)),
    ],
)
def test_what_it_raises_says_when_the_message_comes_again(
    row: OutboxRow, board: type[Board], error: Exception, outcome: Outcome, wait: timedelta
) -> None:
    board.raises.append(error)
    assert send_one(row_id=row.pk, at=DUE) is outcome
    row.refresh_from_db()
    assert (row.state, row.next_attempt_at) == (OutboxState.PENDING, DUE + wait)
    assert str(error) in row.last_error
    assert send_one(row_id=row.pk, at=DUE + wait) is Outcome.SENT
    assert len(board.written) == 1


def test_refused_for_good_stops_that_address_of_that_channel_alone(
    row: OutboxRow, board: type[Board], operator: User, mailoutbox: list[object]
) -> None:
    board.raises.append(RefusedHere("the board was taken down"))
    assert send_one(row_id=row.pk, at=DUE) is Outcome.FAILED
    stopped = StoppedAddress.objects.get()
    assert (stopped.channel, stopped.address) == ("board", "board of operator")
    assert stopped.reason == "the board was taken down"
    User.objects.filter(pk=operator.pk).update(gets_mail=True)
    scan(at=DUE)
    assert send_due(at=DUE, limit=10).sent == 1
    assert len(mailoutbox) == 1


def test_a_channel_out_of_reach_is_left_for_the_round_and_the_other_goes_on(
    greasing: Greasing, operator: User, owner: User, board: type[Board], mailoutbox: list[object]
) -> None:
    scan(at=DUE)
    OutboxRow.objects.filter(channel="board").update(next_attempt_at=DUE - timedelta(hours=1))
    board.raises.append(OutOfReach("away"))
    done = send_due(at=DUE, limit=10)
    assert (done.sent, done.to_retry) == (2, 1)
    assert len(mailoutbox) == 2


def test_a_row_of_a_channel_that_was_taken_out_is_withdrawn(row: OutboxRow, settings: Settings) -> None:
    settings.REMINDER_CHANNELS = ["wearlog.reminders.mail.MailChannel"]
    assert send_one(row_id=row.pk, at=DUE) is Outcome.WITHDRAWN


def test_the_site_ships_with_mail_and_web_hook() -> None:
    found = channels()
    assert list(found) == ["mail", "webhook"]
    plugs: list[Channel] = [MailChannel(), WebhookChannel()]
    assert [type(found[plug.name]) for plug in plugs] == [MailChannel, WebhookChannel]


@pytest.mark.parametrize(
    ("paths", "words"),
    [
        (["wearlog.reminders.nowhere.Channel"], r"names wearlog\.reminders\.nowhere\.Channel.*dotted path"),
        (["nonsense"], "names nonsense.*dotted path"),
        ([f"{HERE}.Board", f"{HERE}.Second"], "calls itself 'board'; give each channel a name of its own"),
        ([f"{HERE}.Nameless"], "calls itself ''"),
        ([f"{HERE}.Wordy"], "at most 20 letters"),
    ],
)
def test_a_setting_that_cannot_be_used_is_refused_with_what_to_write(
    settings: Settings, paths: list[str], words: str
) -> None:
    settings.REMINDER_CHANNELS = paths
    with pytest.raises(ImproperlyConfigured, match=words):
        channels()
