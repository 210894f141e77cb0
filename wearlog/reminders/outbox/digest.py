"""The list: one mail with all open tasks, composed when it is sent."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime

from wearlog.people.models import User
from wearlog.reminders.models import OutboxRow, OutboxState, Rhythm, Stage
from wearlog.reminders.outbox.calls import Line, line_of
from wearlog.reminders.outbox.queries import Current, channels_of, held_keys, message_of, wish_of

AT_ONCE = "at once "
"""Prefix of a list's period where it replaces many single mails, after an outage or an import."""


@dataclass(frozen=True)
class DigestContent:
    """The content of a person's list. `keys`: the messages that it replaces."""

    lines: tuple[Line, ...]
    keys: frozenset[str]


def digest_for(row: OutboxRow, board: Current) -> DigestContent | None:
    """The present content of the person's list, new lines first, then by urgency; None where nothing needs
    saying, or the person no longer wants mail."""
    person = row.person
    if row.channel not in channels_of(person):
        return None
    waiting = set(
        OutboxRow.objects.filter(
            person=person, channel=row.channel, state__in=(OutboxState.GATHERED, OutboxState.PENDING)
        )
        .exclude(stage=Stage.DIGEST)
        .values_list("dedupe_key", flat=True)
    )
    held = held_keys(board, person, row.channel)
    messages = board.messages_to(person, row.channel)
    told = {message.key for message in messages if not message.call.urgent} & waiting
    if not told and (row.telling.startswith(AT_ONCE) or not calls_for_list(board, person, row.channel, held)):
        return None
    lines = [
        line_of(call, person, new=key in told)
        for call in board.calls
        if (key := message_of(call, person, row.channel).key) not in held
    ]
    return DigestContent(tuple(sorted(lines, key=lambda line: not line.new)), frozenset(told))


def calls_for_list(board: Current, person: User, channel: str, held: Collection[str]) -> bool:
    """Whether to send a list although nothing is new: a task is due or overdue that the person has neither
    seen nor may leave to others, and whose message is not among those `held`. A person who gets single mails
    has lists only of long overdue tasks."""
    single = wish_of(person).rhythm == Rhythm.SINGLE
    return any(
        (call.long if single else call.pressing)
        and board.is_for(call, person)
        and message_of(call, person, channel).key not in held
        for call in board.calls
    )


def settle_gathered(*, row: OutboxRow, keys: frozenset[str], at: datetime) -> None:
    """Settle the rows included in a list. Call it in the transaction that settles the list."""
    told = OutboxRow.objects.filter(person=row.person, dedupe_key__in=keys)
    told.filter(state__in=(OutboxState.GATHERED, OutboxState.PENDING)).update(
        state=OutboxState.SENT, sent_at=at, told_by=row
    )
