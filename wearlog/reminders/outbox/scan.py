"""The scan: write to the outbox what the log calls for, and take back what is no longer true.

Everything is read and worked out before the first write, and each write is a short transaction of its own:
nobody who logs a run waits for a scan. The keys are unique for ever, so that two scans at once, or one that
dies between two writes, repeat and lose nothing; what was overtaken in between is caught before sending.
"""

from __future__ import annotations

import hashlib
import json
from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass, field
from datetime import datetime, timedelta
from typing import Any

from django.core.serializers.json import DjangoJSONEncoder
from django.db import transaction
from django.utils import translation

from wearlog.people.languages import language_of
from wearlog.reminders import hours
from wearlog.reminders.calendar import state as calendar_state
from wearlog.reminders.channels.mail.sending import message_id
from wearlog.reminders.models import OutboxRow, OutboxState, Stage
from wearlog.reminders.outbox.digest import AT_ONCE, calls_for_list
from wearlog.reminders.outbox.keys import digest_key, in_batches, thing_of
from wearlog.reminders.outbox.queries import Current, Message, Recipient, open_lists, recipients
from wearlog.reminders.schedule import state as schedule_state

OUTAGE = timedelta(hours=24)
"""Longer than this without a scan, and what has come up meanwhile is told in one list."""


LONGEST_WAIT = timedelta(hours=1, minutes=10)
"""What has been tried comes again within an hour (`handing`), if its person's hours allow; what waits longer
was planned by a clock that ran ahead."""


@dataclass(frozen=True)
class Known:
    """A message's row as it is stored."""

    state: str
    tried: bool
    next_attempt_at: datetime


@dataclass
class Changes:
    """What a scan has to write."""

    new: list[OutboxRow] = field(default_factory=list)
    moved: dict[tuple[str, str, datetime], list[str]] = field(default_factory=lambda: defaultdict(list))
    """From a state to a state with an instant to send at: the keys."""
    withdrawn: list[int] = field(default_factory=list)
    lists: list[OutboxRow] = field(default_factory=list)


def scan(*, at: datetime) -> int:
    """Queue a message for everything of today's forecast that is coming, to be ordered, due or overdue, one
    for each person it is for, or a list where the person wants one or where there is much at once; withdraw
    what waits and is no longer true. Returns how many messages, told singly or in a list, were queued.

    It works in the mill's language, which the calendar is kept in; a mail is worded anew as it leaves.
    """
    with translation.override(language_of()):
        return _scan(at=at)


def _scan(*, at: datetime) -> int:
    since = schedule_state.last(schedule_state.SCAN) or at
    board = Current.at(at)
    changes = Changes()
    wanted: set[str] = set()
    waiting = open_lists()
    for recipient in recipients():
        messages = {
            message.key: message for message in board.messages_to(recipient.person, recipient.channel)
        }
        wanted |= messages.keys()
        open_list = waiting.get((recipient.person.pk, recipient.channel))
        _plan(changes, recipient, messages, board, since=since, at=at, open_list=open_list)
    _withdraw(changes, wanted)
    queued = _write(changes, at=at)
    calendar_state.update(at=at)  # last: mails are the alarm, the calendar is for looking
    return queued


def _plan(
    changes: Changes,
    recipient: Recipient,
    messages: Mapping[str, Message],
    board: Current,
    *,
    since: datetime,
    at: datetime,
    open_list: str | None,
) -> None:
    """What one person's messages become: mails of their own, or lines of a list. `open_list` is the key of
    one that has not left yet."""
    has_list = open_list is not None
    known = stored([*messages, open_list] if open_list is not None else messages)
    slot = recipient.slot(at)
    outage = at - since >= OUTAGE
    fresh = [
        key
        for key, message in messages.items()
        if not message.call.urgent and _is_fresh(known.get(key), has_list=has_list, outage=outage)
    ]
    period = None if has_list else _period(recipient, board, fresh, since=since, at=at, outage=outage)
    if period is not None:
        changes.lists.append(_list(recipient, period, at=at, when=slot))
    for key, message in messages.items():
        row = known.get(key)
        gathers = recipient.gets_lists or period is not None or (has_list and _is_gathered(row))
        state = OutboxState.GATHERED if gathers and not message.call.urgent else OutboxState.PENDING
        when = at if message.call.urgent and recipient.wish.urgent_any_time else slot
        if row is None:
            changes.new.append(_row(message, state=state, at=at, when=when))
        elif _moves(row, state, when, at=at, even_if_tried=period is not None and outage):
            changes.moved[row.state, state, when].append(key)
    if open_list is not None and _moves(known[open_list], OutboxState.PENDING, slot, at=at):
        # Its person wants mail earlier than when it was made; where later, whoever sends it puts it off.
        changes.moved[OutboxState.PENDING, OutboxState.PENDING, slot].append(open_list)


def _period(
    recipient: Recipient, board: Current, fresh: list[str], *, since: datetime, at: datetime, outage: bool
) -> str | None:
    """What the person's list that is to leave now is for, None where none leaves: its hour has come since
    the last scan (however many hours were missed, it is one list), or there is too much for single mails."""
    most = 1 if outage else recipient.wish.most_at_once
    if not recipient.gets_lists and len(fresh) > most:
        return f"{AT_ONCE}{at.astimezone(recipient.zone).date()} {_digest(fresh)}"
    fired = list(hours.firings(recipient.wish, recipient.zone, after=since, until=at))
    if fired and ((recipient.gets_lists and fresh) or calls_for_list(board, recipient.person)):
        return hours.period_of(recipient.wish, fired[-1][0])
    return None


def stored(messages: Iterable[str]) -> dict[str, Known]:
    """The rows that are there already, by key."""
    found = {}
    for keys in in_batches(sorted(messages)):
        rows = OutboxRow.objects.filter(dedupe_key__in=keys)
        for key, *values in rows.values_list("dedupe_key", "state", "first_attempt_at", "next_attempt_at"):
            found[key] = Known(values[0], values[1] is not None, values[2])
    return found


def _is_gathered(row: Known | None) -> bool:
    return row is not None and row.state == OutboxState.GATHERED


def _is_fresh(row: Known | None, *, has_list: bool, outage: bool) -> bool:
    """Not yet on its way: no row, one that was withdrawn, or one whose list has come to nothing. After an
    outage what has been waiting since before it is as good as fresh."""
    if row is None or row.state == OutboxState.WITHDRAWN:
        return True
    if row.state == OutboxState.PENDING:
        return outage
    return row.state == OutboxState.GATHERED and not has_list


def _moves(row: Known, state: str, when: datetime, *, at: datetime, even_if_tried: bool = False) -> bool:
    """Whether a stored row has to change. What has been tried keeps its own time of the next attempt, where
    a right clock has set it."""
    if row.state in (OutboxState.WITHDRAWN, OutboxState.GATHERED):
        return row.state != state
    if row.state != OutboxState.PENDING:
        return False
    if row.tried and not even_if_tried:
        return row.next_attempt_at > max(when, at + LONGEST_WAIT)
    return state != OutboxState.PENDING or row.next_attempt_at > when


def _row(message: Message, *, state: str, at: datetime, when: datetime) -> OutboxRow:
    item = message.item
    return OutboxRow(
        dedupe_key=message.key,
        person=message.person,
        channel=message.channel,
        stage=message.call.stage,
        telling=message.call.telling,
        rule=item.rule,
        press=item.press,
        thing=thing_of(item),
        item={**_as_json(item), "urgent": message.call.urgent},
        state=state,
        made_at=at,
        next_attempt_at=when,
        message_id=message_id(message.key),
    )


def _list(recipient: Recipient, period: str, *, at: datetime, when: datetime) -> OutboxRow:
    key = digest_key(person_id=recipient.person.pk, period=period, channel=recipient.channel)
    return OutboxRow(
        dedupe_key=key,
        person=recipient.person,
        channel=recipient.channel,
        stage=Stage.DIGEST,
        telling=period,
        made_at=at,
        next_attempt_at=when,
        message_id=message_id(key),
    )


def _digest(keys: Iterable[str]) -> str:
    """A name for a set of messages: two scans that find the same ones make one list."""
    return hashlib.sha256("".join(sorted(keys)).encode()).hexdigest()[:24]


def _as_json(item: Any) -> dict[str, Any]:
    plain: dict[str, Any] = json.loads(json.dumps(asdict(item), cls=DjangoJSONEncoder))
    return plain


def _withdraw(changes: Changes, wanted: set[str]) -> None:
    """Only rows that nobody is sending: one under lease is checked by whoever claims it next. A list is
    made of what is true when it leaves, so that it needs no taking back here."""
    waiting = OutboxRow.objects.filter(state__in=(OutboxState.PENDING, OutboxState.GATHERED))
    for pk, key in waiting.exclude(stage=Stage.DIGEST).values_list("pk", "dedupe_key"):
        if key not in wanted:
            changes.withdrawn.append(pk)


def _write(changes: Changes, *, at: datetime) -> int:
    queued = len(changes.new)
    for some in in_batches(sorted(changes.new, key=lambda row: row.dedupe_key)):
        OutboxRow.objects.bulk_create(some, ignore_conflicts=True)
    for (before, state, when), keys in changes.moved.items():
        for batch in in_batches(keys):
            rows = OutboxRow.objects.filter(dedupe_key__in=batch, state=before)
            # True again after a correction was taken back: never sent, so it may still be said once.
            revived = {"first_attempt_at": None} if before == OutboxState.WITHDRAWN else {}
            moved = rows.update(state=state, next_attempt_at=when, **revived)
            queued += moved if before == OutboxState.WITHDRAWN else 0
    for pks in in_batches(changes.withdrawn):
        rows = OutboxRow.objects.filter(pk__in=pks, state__in=(OutboxState.PENDING, OutboxState.GATHERED))
        rows.update(state=OutboxState.WITHDRAWN)
    with transaction.atomic():  # a firing is either written or still ahead of the stamp
        OutboxRow.objects.bulk_create(changes.lists, ignore_conflicts=True)
        schedule_state.stamp(schedule_state.SCAN, at)
    return queued
