"""Who should get which message, according to the log."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import cached_property
from zoneinfo import ZoneInfo

from wearlog.forecasts.items import DueItem
from wearlog.people.models import Mill, User
from wearlog.people.roles import Permission, allows
from wearlog.reminders import hours
from wearlog.reminders.channels.channel import channels
from wearlog.reminders.models import OutboxRow, OutboxState, ReminderWish, Rhythm, Stage
from wearlog.reminders.outbox.calls import Call, calls_now
from wearlog.reminders.outbox.keys import dedupe_key, in_batches
from wearlog.reminders.typing_up import typed_up_presses


@dataclass(frozen=True)
class Recipient:
    """A person on one channel, with their wishes (or the defaults) and time zone."""

    person: User
    channel: str
    wish: ReminderWish
    zone: ZoneInfo

    @property
    def gets_lists(self) -> bool:
        return self.wish.rhythm != Rhythm.SINGLE

    def slot(self, at: datetime) -> datetime:
        """The first instant from `at` on at which a message may be sent to this person."""
        return hours.next_slot(self.wish, self.zone, at)


def recipients() -> list[Recipient]:
    """Everybody who may log, once for each channel that they want; viewers get no reminders."""
    mill_zone = Mill.current().zone
    people = User.objects.filter(is_active=True).select_related("reminder_wish").order_by("pk")
    return [
        recipient_of(person, channel, mill_zone=mill_zone)
        for person in people
        for channel in channels_of(person)
    ]


def recipient_of(person: User, channel: str, *, mill_zone: ZoneInfo) -> Recipient:
    wish = wish_of(person)
    return Recipient(person, channel, wish, wish.zone(mill_zone))


def wish_of(person: User) -> ReminderWish:
    """The person's stored wishes, or an unsaved instance with the defaults."""
    try:
        return person.reminder_wish
    except ReminderWish.DoesNotExist:
        return ReminderWish(person=person)


def channels_of(person: User) -> tuple[str, ...]:
    """The person's channels; none for viewers and inactive people."""
    if not person.is_active or not allows(person, Permission.LOG):
        return ()
    return tuple(name for name, channel in channels().items() if channel.wants(person))


@dataclass(frozen=True)
class Message:
    """One message that should be sent: this call to this person by this channel."""

    key: str
    call: Call
    person: User
    channel: str

    @property
    def item(self) -> DueItem:
        return self.call.item


def message_of(call: Call, person: User, channel: str) -> Message:
    key = dedupe_key(call.item, telling=call.telling, person_id=person.pk, channel=channel)
    return Message(key=key, call=call, person=person, channel=channel)


def messages_now(*, at: datetime) -> dict[str, Message]:
    """Every message that should exist at this instant, by key, already sent or not."""
    board = Current.at(at)
    return {
        message.key: message
        for recipient in recipients()
        for message in board.messages_to(recipient.person, recipient.channel)
    }


class Current:
    """The calls of one instant, prepared for queries about many people and rows."""

    def __init__(self, calls: Sequence[Call], at: datetime) -> None:
        self.calls = tuple(calls)
        self._at = at
        self._told: dict[int, bool] = {}

    @classmethod
    def at(cls, at: datetime, *, rule_id: int | None = None) -> Current:
        return cls(calls_now(at=at, rule_id=rule_id), at)

    @cached_property
    def _typed_up(self) -> frozenset[int]:
        return typed_up_presses(at=self._at)

    def is_held(self, call: Call) -> bool:
        """Whether a new message about the call waits until the past of its press is typed up."""
        return call.past and not call.urgent and call.item.press_id in self._typed_up

    @cached_property
    def _by_rule(self) -> dict[int, list[Call]]:
        found: dict[int, list[Call]] = defaultdict(list)
        for call in self.calls:
            found[call.item.rule_id].append(call)
        return found

    def is_for(self, call: Call, person: User) -> bool:
        """Whether the person should be told: not while it is held back, not if they have seen it, and if it
        is given to somebody who can get messages, only that person."""
        if call.marks.held is not None or call.seen_by(person.pk):
            return False
        given = call.marks.given
        if given is None or given.given_to_id == person.pk:
            return True
        return given.given_to is None or not self._can_be_told(given.given_to)

    def _can_be_told(self, person: User) -> bool:
        if person.pk not in self._told:
            self._told[person.pk] = bool(channels_of(person))
        return self._told[person.pk]

    def messages_to(self, person: User, channel: str) -> list[Message]:
        return [message_of(call, person, channel) for call in self.calls if self.is_for(call, person)]

    def call_of(self, row: OutboxRow) -> Call | None:
        """The present call for the row; None where it is no longer true or wanted."""
        if row.channel not in channels_of(row.person):
            return None
        for call in self._by_rule.get(row.item.get("rule_id", 0), ()):
            if (
                self.is_for(call, row.person)
                and message_of(call, row.person, row.channel).key == row.dedupe_key
            ):
                return call
        return None


def held_keys(board: Current, person: User, channel: str) -> set[str]:
    """The keys of the messages about present calls that are held from the person, or will be as soon as a
    scan finds them. What they were told before, or is on its way, is not among them."""
    keys = {message_of(call, person, channel).key for call in board.calls}
    rows: dict[str, str] = {}
    for some in in_batches(sorted(keys)):
        stored = OutboxRow.objects.filter(dedupe_key__in=some)
        rows.update(stored.values_list("dedupe_key", "state"))
    new = {message_of(call, person, channel).key for call in board.calls if board.is_held(call)}
    return {
        key
        for key in keys
        if rows.get(key) == OutboxState.HELD
        or (key in new and rows.get(key) in (None, OutboxState.WITHDRAWN))
    }


def sendable_ids(*, at: datetime, limit: int) -> list[int]:
    """The ids of rows that a sender may claim now, the longest waiting first."""
    rows = OutboxRow.objects.sendable(at=at).order_by("next_attempt_at", "pk")
    return list(rows.values_list("pk", flat=True)[:limit])


def of_other_channels(row_ids: Sequence[int], *, than: int) -> list[int]:
    """Those of the rows that use a channel other than that of the row `than`, in the same order."""
    channel = OutboxRow.objects.filter(pk=than).values_list("channel", flat=True).first()
    others = set(
        OutboxRow.objects.filter(pk__in=row_ids).exclude(channel=channel).values_list("pk", flat=True)
    )
    return [pk for pk in row_ids if pk in others]


def open_lists() -> dict[tuple[int, str], str]:
    """The key of the list that has not been sent yet, by person and channel; a second list would repeat
    it."""
    open_rows = OutboxRow.objects.filter(
        stage=Stage.DIGEST, state__in=(OutboxState.PENDING, OutboxState.LEASED)
    ).order_by("-pk")
    return {
        (person, channel): key
        for person, channel, key in open_rows.values_list("person_id", "channel", "dedupe_key")
    }
