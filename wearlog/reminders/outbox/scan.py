"""The scan: queue the messages that the log calls for, and withdraw those that are no longer true.

Everything is read and computed before the first write, and each write is a short transaction, so that nobody
who logs a run waits for a scan. The keys are unique for ever, so that concurrent scans, or one that dies
between two writes, neither repeat nor lose a message. Changes in the meantime are noticed before sending.
"""

from __future__ import annotations

import hashlib
import json
from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass, field
from datetime import datetime, timedelta

from django.core.serializers.json import DjangoJSONEncoder
from django.db import transaction
from django.utils import translation

from wearlog.forecasts.items import DueItem
from wearlog.people.languages import language_of
from wearlog.reminders import hours
from wearlog.reminders.calendar import state as calendar_state
from wearlog.reminders.channels.mail.sending import message_id
from wearlog.reminders.models import UNSENT, OutboxRow, OutboxState, Stage
from wearlog.reminders.outbox.digest import AT_ONCE, calls_for_list
from wearlog.reminders.outbox.keys import digest_key, in_batches, thing_of
from wearlog.reminders.outbox.queries import Current, Message, Recipient, held_keys, open_lists, recipients
from wearlog.reminders.schedule import state as schedule_state
from wearlog.reminders.typing_up import HELD_FOR

OUTAGE = timedelta(hours=24)
"""After a longer time without a scan, everything that came up meanwhile is sent as one list."""


LONGEST_WAIT = timedelta(hours=1, minutes=10)
"""A failed message is retried within an hour (`deliver`), if its person's hours allow; a later time was set
while the clock ran ahead."""


@dataclass(frozen=True)
class KnownRow:
    """A message's row as it is stored."""

    state: str
    tried: bool
    next_attempt_at: datetime


@dataclass
class Changes:
    """The writes of a scan."""

    new: list[OutboxRow] = field(default_factory=list)
    moved: dict[tuple[str, str, datetime], list[str]] = field(default_factory=lambda: defaultdict(list))
    """The keys to change, by (old state, new state, time to send at)."""
    withdrawn: list[int] = field(default_factory=list)
    lists: list[OutboxRow] = field(default_factory=list)


def scan(*, at: datetime) -> int:
    """Queue a message for each item of today's forecast that is coming up, to be ordered, due or overdue: one
    for each person concerned, or a list where the person wants one or there are many at once; hold what old
    entries made overdue while the past is typed up; withdraw waiting messages that are no longer true.
    Returns how many messages were queued, singly or in a list.

    It runs in the mill's language, which is that of the calendar; mails are worded when they are sent.
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
    calendar_state.update(at=at)  # last, since mails matter more than the calendar
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
    """Plan one person's messages as single mails or as lines of a list. `open_list` is the key of a list that
    has not been sent yet."""
    has_list = open_list is not None
    known = stored([*messages, open_list] if open_list is not None else messages)
    slot = recipient.slot(at)
    outage = at - since >= OUTAGE
    held = {key for key, message in messages.items() if _is_held(known.get(key), message, board, at=at)}
    fresh = [
        key
        for key, message in messages.items()
        if key not in held
        and not message.call.urgent
        and _is_fresh(known.get(key), has_list=has_list, outage=outage)
    ]
    period = None if has_list else _period(recipient, board, fresh, since=since, at=at, outage=outage)
    if period is not None:
        changes.lists.append(_list(recipient, period, at=at, when=slot))
    for key in held:
        _hold(changes, messages[key], known.get(key), at=at)
    for key, message in messages.items():
        if key in held:
            continue
        row = known.get(key)
        gathers = recipient.gets_lists or period is not None or (has_list and _is_gathered(row))
        state = OutboxState.GATHERED if gathers and not message.call.urgent else OutboxState.PENDING
        when = at if message.call.urgent and recipient.wish.urgent_any_time else slot
        if row is None:
            changes.new.append(_row(message, state=state, at=at, when=when))
        elif _moves(row, state, when, at=at, even_if_tried=period is not None and outage):
            changes.moved[row.state, state, when].append(key)
    if open_list is not None and _moves(known[open_list], OutboxState.PENDING, slot, at=at):
        # The person now wants mail at an earlier time. For a later time, the sender postpones the list.
        changes.moved[OutboxState.PENDING, OutboxState.PENDING, slot].append(open_list)


def _is_held(row: KnownRow | None, message: Message, board: Current, *, at: datetime) -> bool:
    """Whether the message waits until the past is typed up: a new one, or one whose own time to go on has not
    come. One that was let go of once is never held again."""
    if row is None or row.state == OutboxState.WITHDRAWN:
        return board.is_held(message.call)
    return row.state == OutboxState.HELD and row.next_attempt_at > at and board.is_held(message.call)


def _hold(changes: Changes, message: Message, row: KnownRow | None, *, at: datetime) -> None:
    if row is None:
        changes.new.append(_row(message, state=OutboxState.HELD, at=at, when=at + HELD_FOR))
    elif row.state == OutboxState.WITHDRAWN:
        changes.moved[row.state, OutboxState.HELD, at + HELD_FOR].append(message.key)


def _period(
    recipient: Recipient, board: Current, fresh: list[str], *, since: datetime, at: datetime, outage: bool
) -> str | None:
    """The period of the list that is due now, or None: its hour has come since the last scan (however many
    hours were missed, it is one list), or there are too many messages for single mails."""
    most = 1 if outage else recipient.wish.most_at_once
    if not recipient.gets_lists and len(fresh) > most:
        return f"{AT_ONCE}{at.astimezone(recipient.zone).date()} {_digest(fresh)}"
    fired = list(hours.firings(recipient.wish, recipient.zone, after=since, until=at))
    if fired and ((recipient.gets_lists and fresh) or _calls_for_list(recipient, board)):
        return hours.period_of(recipient.wish, fired[-1][0])
    return None


def _calls_for_list(recipient: Recipient, board: Current) -> bool:
    held = held_keys(board, recipient.person, recipient.channel)
    return calls_for_list(board, recipient.person, recipient.channel, held)


def stored(messages: Iterable[str]) -> dict[str, KnownRow]:
    """The stored rows of these messages, by key."""
    found = {}
    for keys in in_batches(sorted(messages)):
        rows = OutboxRow.objects.filter(dedupe_key__in=keys)
        for key, state, first_at, next_at in rows.values_list(
            "dedupe_key", "state", "first_attempt_at", "next_attempt_at"
        ):
            found[key] = KnownRow(state, first_at is not None, next_at)
    return found


def _is_gathered(row: KnownRow | None) -> bool:
    return row is not None and row.state == OutboxState.GATHERED


def _is_fresh(row: KnownRow | None, *, has_list: bool, outage: bool) -> bool:
    """Whether the message is still to be planned: it has no row, a withdrawn one, one that is let go of, or
    one whose list was not sent. After an outage also a message that has been waiting since before it."""
    if row is None or row.state in (OutboxState.WITHDRAWN, OutboxState.HELD):
        return True
    if row.state == OutboxState.PENDING:
        return outage
    return row.state == OutboxState.GATHERED and not has_list


def _moves(row: KnownRow, state: str, when: datetime, *, at: datetime, even_if_tried: bool = False) -> bool:
    """Whether a stored row has to change. A row that has been tried keeps the time of its next attempt,
    unless a wrong clock set it."""
    if row.state in (OutboxState.WITHDRAWN, OutboxState.GATHERED, OutboxState.HELD):
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
    """A hash of a set of messages, so that two scans that find the same ones make one list."""
    return hashlib.sha256("".join(sorted(keys)).encode()).hexdigest()[:24]


def _as_json(item: DueItem) -> dict[str, object]:
    plain: dict[str, object] = json.loads(json.dumps(asdict(item), cls=DjangoJSONEncoder))
    return plain


def _withdraw(changes: Changes, wanted: set[str]) -> None:
    """Withdraw rows that are no longer wanted, except leased ones, which the next sender checks. Lists need
    no withdrawing, as they are composed when they are sent."""
    waiting = OutboxRow.objects.filter(state__in=UNSENT)
    for pk, key in waiting.exclude(stage=Stage.DIGEST).values_list("pk", "dedupe_key"):
        if key not in wanted:
            changes.withdrawn.append(pk)


def _write(changes: Changes, *, at: datetime) -> int:
    queued = sum(row.state != OutboxState.HELD for row in changes.new)
    for some in in_batches(sorted(changes.new, key=lambda row: row.dedupe_key)):
        OutboxRow.objects.bulk_create(some, ignore_conflicts=True)
    for (before, state, when), keys in changes.moved.items():
        for batch in in_batches(keys):
            rows = OutboxRow.objects.filter(dedupe_key__in=batch, state=before)
            # Wanted again, for example after a correction was undone: never sent, so it may be sent now.
            revived = {"first_attempt_at": None} if before == OutboxState.WITHDRAWN else {}
            moved = rows.update(state=state, next_attempt_at=when, **revived)
            let_go = before in (OutboxState.WITHDRAWN, OutboxState.HELD) and state != OutboxState.HELD
            queued += moved if let_go else 0
    for pks in in_batches(changes.withdrawn):
        rows = OutboxRow.objects.filter(pk__in=pks, state__in=UNSENT)
        rows.update(state=OutboxState.WITHDRAWN)
    with transaction.atomic():  # a list is either written, or due again because the stamp is not
        OutboxRow.objects.bulk_create(changes.lists, ignore_conflicts=True)
        schedule_state.stamp(schedule_state.SCAN, at)
    return queued
