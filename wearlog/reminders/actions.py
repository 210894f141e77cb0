"""The outbox: write what is to be said, claim a row, send it, settle it.

The promise is at least once, and never a second copy but where a sender died, or lost the server's answer,
between handing a mail over and settling its row; then the copy has the same Message-ID. These are the
writes of the schedule, not of a person, so they leave no audit rows: the outbox row is its own record.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import asdict, dataclass
from datetime import datetime, timedelta
from typing import Any

from django.core.serializers.json import DjangoJSONEncoder
from django.db import transaction
from django.db.models import F
from django.db.models.functions import Coalesce

from wearlog.forecasts.items import DueItem
from wearlog.people.models import Mill
from wearlog.reminders.channels import Parcel
from wearlog.reminders.handing import Outcome as Outcome
from wearlog.reminders.handing import hand_over, set_aside
from wearlog.reminders.keys import thing_of
from wearlog.reminders.mail import message_id
from wearlog.reminders.models import OutboxRow, OutboxState
from wearlog.reminders.queries import MAIL, Current, Message, in_batches, messages_now, sendable_ids

LEASE = timedelta(minutes=5)
"""Longer than a mail can take: a dozen steps of the conversation, each cut off after EMAIL_TIMEOUT."""


# -------- finding


def scan(*, at: datetime) -> int:
    """Queue a message for everything of today's forecast that is coming, due or overdue, one for each
    person; withdraw what waits and is no longer true. Returns how many messages were queued.

    Safe to run twice, and by two processes at once: the key is unique for ever. The forecast is computed
    before the transaction, so that nobody who logs has to wait for it; a row that was overtaken in between
    is caught by the check before sending.
    """
    wanted = messages_now(at=at)
    with transaction.atomic():
        queued = _queue(wanted, at=at)
        _withdraw(wanted)
    return queued


def _queue(wanted: dict[str, Message], *, at: datetime) -> int:
    queued = 0
    for keys in in_batches(
        sorted(wanted)
    ):  # in one order for all, so that two scans can't lock each other out
        there = set(OutboxRow.objects.filter(dedupe_key__in=keys).values_list("dedupe_key", flat=True))
        missing = [_row(wanted[key], at=at) for key in keys if key not in there]
        OutboxRow.objects.bulk_create(missing, ignore_conflicts=True)
        # True again after a correction was taken back: never sent, so it may still be said once.
        revived = OutboxRow.objects.filter(dedupe_key__in=keys, state=OutboxState.WITHDRAWN)
        queued += len(missing) + revived.update(state=OutboxState.PENDING, next_attempt_at=at)
    return queued


def _row(message: Message, *, at: datetime) -> OutboxRow:
    item = message.item
    return OutboxRow(
        dedupe_key=message.key,
        person=message.person,
        channel=MAIL,
        stage=item.state,
        telling=item.state,
        rule=item.rule,
        press=item.press,
        thing=thing_of(item),
        item=_as_json(item),
        made_at=at,
        next_attempt_at=at,
        message_id=message_id(message.key),
    )


def _as_json(item: DueItem) -> dict[str, Any]:
    plain: dict[str, Any] = json.loads(json.dumps(asdict(item), cls=DjangoJSONEncoder))
    return plain


def _withdraw(wanted: dict[str, Message]) -> None:
    """Only rows that nobody is sending: one under lease is checked by whoever claims it next."""
    waiting = OutboxRow.objects.filter(state=OutboxState.PENDING).values_list("pk", "dedupe_key")
    gone = [pk for pk, key in waiting if key not in wanted]
    for some in in_batches(gone):
        OutboxRow.objects.filter(pk__in=some, state=OutboxState.PENDING).update(state=OutboxState.WITHDRAWN)


# -------- sending


@dataclass
class Sent:
    """What a round of sending came to."""

    sent: int = 0
    to_retry: int = 0
    given_up: int = 0
    withdrawn: int = 0


def send_due(*, at: datetime, limit: int, clock: Callable[[], datetime] | None = None) -> Sent:
    """Send up to `limit` waiting rows, one after the other, until the mail server can't be reached.

    A long round passes its `clock`, so that each row's lease begins when it is claimed.
    """
    done = Sent()
    for row_id in sendable_ids(at=at, limit=limit):
        outcome = send_one(row_id=row_id, at=clock() if clock else at)
        done.sent += outcome is Outcome.SENT
        done.to_retry += outcome in (Outcome.RETRY, Outcome.UNREACHABLE, Outcome.SET_ASIDE)
        done.given_up += outcome is Outcome.FAILED
        done.withdrawn += outcome is Outcome.WITHDRAWN
        if outcome is Outcome.UNREACHABLE:
            break
    return done


def send_one(*, row_id: int, at: datetime) -> Outcome:
    """Claim the row, check that it still holds, send it, settle it. A second call does nothing."""
    row = claim(row_id=row_id, at=at)
    if row is None:
        return Outcome.NOT_MINE
    try:
        item = Current.at(at).item_of(row)
        if item is None:
            settle(row, state=OutboxState.WITHDRAWN)
            return Outcome.WITHDRAWN
        units = row.person.units or Mill.current().units
        handed = hand_over(Parcel(row=row, items=[item], person=row.person, units=units), at=at)
    except Exception as error:
        handed = set_aside(row, error, at=at)
    settle(row, **handed.changes)
    return handed.outcome


def claim(*, row_id: int, at: datetime) -> OutboxRow | None:
    """The row, leased to the caller alone; None where it is somebody else's, settled or not yet due."""
    mine = (
        OutboxRow.objects.filter(pk=row_id)
        .sendable(at=at)
        .update(
            state=OutboxState.LEASED,
            leased_until=at + LEASE,
            attempts=F("attempts") + 1,
            first_attempt_at=Coalesce("first_attempt_at", at),
        )
    )
    return OutboxRow.objects.select_related("person").get(pk=row_id) if mine else None


def settle(row: OutboxRow, **changes: Any) -> bool:
    """End the claim that `row` stands for. False where its lease ran out and another has claimed it."""
    held = OutboxRow.objects.filter(pk=row.pk, state=OutboxState.LEASED, attempts=row.attempts)
    return bool(held.update(leased_until=None, **changes))
