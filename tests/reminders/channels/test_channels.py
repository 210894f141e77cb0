"""Channels by plug: what the house asks of one, and what becomes of a row by what it raises."""

from __future__ import annotations

import socket
import textwrap
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime, timedelta
from pathlib import Path
from typing import ClassVar

import pytest
from django.core.exceptions import ImproperlyConfigured
from pytest_django import Settings

from tests.mills.greasing import DUE, Greasing
from wearlog.forecasts.memory.queries import due_items
from wearlog.people.models import User
from wearlog.reminders.channels.channel import Channel, OutOfReach, Parcel, RefusedHere, TryLater, channels
from wearlog.reminders.channels.mail.sending import MailChannel
from wearlog.reminders.channels.webhook.sending import WebhookChannel
from wearlog.reminders.models import OutboxRow, OutboxState, StoppedAddress
from wearlog.reminders.outbox.actions import Outcome, scan, send_due, send_one

HERE = "tests.reminders.channels.test_channels"


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
    settings.REMINDER_CHANNELS = ["wearlog.reminders.channels.mail.sending.MailChannel", f"{HERE}.Board"]
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
    settings.REMINDER_CHANNELS = ["wearlog.reminders.channels.mail.sending.MailChannel"]
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


# -------- the page that tells how to write one


@contextmanager
def bell(answer: bytes) -> Iterator[tuple[int, list[str]]]:
    """A bell on the loopback: its port, and what it was told."""
    told: list[str] = []
    with socket.create_server(("127.0.0.1", 0)) as listening:

        def ring() -> None:
            connection, _address = listening.accept()
            with connection:
                told.append(connection.recv(65536).decode())
                connection.sendall(answer)

        thread = threading.Thread(target=ring, daemon=True)
        thread.start()
        yield listening.getsockname()[1], told
        thread.join(timeout=10)


def documented_channel(port: int) -> Channel:
    """The example of the page, with its host and port changed to the loopback's."""
    text = (Path(__file__).parents[3] / "docs" / "channels.md").read_text()
    block = text[text.index("    from datetime import datetime\n") : text.index("\nWhat it may count on")]
    code = textwrap.dedent(block).replace('("bell.mill.example", 7000)', f'("127.0.0.1", {port})')
    names: dict[str, type] = {}
    exec(code, names)
    channel: Channel = names["BellChannel"]()
    return channel


def parcel_of(row: OutboxRow, person: User) -> Parcel:
    (item,) = due_items(as_of=DUE.date())
    return Parcel(row, [item], person, "metric")


def test_the_channel_that_the_page_shows_tells_the_task_with_its_caution(
    row: OutboxRow, operator: User
) -> None:
    with bell(b"ok") as (port, told):
        documented_channel(port).deliver(parcel_of(row, operator), at=DUE)
    (words,) = told
    assert words.startswith("P1: lubricate. WARNING: The screw can start by itself")
    assert words.endswith("| Main motor (electrical): isolate at disconnect Q1")


def test_the_channel_that_the_page_shows_raises_what_it_should(row: OutboxRow, operator: User) -> None:
    with bell(b"no") as (port, _told), pytest.raises(RefusedHere, match="switched off"):
        documented_channel(port).deliver(parcel_of(row, operator), at=DUE)
    with pytest.raises(OutOfReach):
        documented_channel(1).deliver(parcel_of(row, operator), at=DUE)  # nothing listens on port 1
    assert not documented_channel(1).wants(operator)
