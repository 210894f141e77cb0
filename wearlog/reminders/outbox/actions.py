"""Sending from the outbox: claim a row, check it, send it, settle it. `scan` fills the outbox.

Delivery is at least once. A second copy is sent only where a sender died, or lost the server's answer,
between sending a mail and settling its row; the copy has the same Message-ID. These writes are made by the
schedule, not by a person, so there are no audit rows: the outbox row is its own record.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.db import transaction
from django.db.models import F
from django.db.models.functions import Coalesce
from django.utils import translation

from wearlog.people.languages import language_of
from wearlog.people.models import Mill
from wearlog.reminders.channels.channel import Parcel
from wearlog.reminders.channels.mail.notices import look_after
from wearlog.reminders.models import OutboxRow, OutboxState, Stage
from wearlog.reminders.outbox.calls import line_of
from wearlog.reminders.outbox.deliver import Delivery, deliver, set_aside
from wearlog.reminders.outbox.deliver import Outcome as Outcome
from wearlog.reminders.outbox.digest import digest_for, settle_gathered
from wearlog.reminders.outbox.queries import Current, of_other_channels, recipient_of, sendable_ids
from wearlog.reminders.outbox.scan import scan as scan
from wearlog.reminders.schedule import state as schedule_state

LEASE = timedelta(minutes=5)
"""Longer than sending a mail can take: a dozen steps, each with EMAIL_TIMEOUT."""


@dataclass
class Sent:
    """The result of a sending round."""

    sent: int = 0
    to_retry: int = 0
    given_up: int = 0
    withdrawn: int = 0


def send_due(*, at: datetime, limit: int, clock: Callable[[], datetime] | None = None) -> Sent:
    """Send up to `limit` waiting rows, one after the other, and notify owners of stopped addresses.
    A channel that can't be reached is skipped for the rest of the round.

    Pass `clock` for a long round, so that each row's lease begins when it is claimed.
    """
    done, now = Sent(), at
    waiting = sendable_ids(at=at, limit=limit)
    while waiting:
        row_id, now = waiting.pop(0), clock() if clock else at
        outcome = send_one(row_id=row_id, at=now)
        done.sent += outcome is Outcome.SENT
        done.to_retry += outcome in (Outcome.RETRY, Outcome.UNREACHABLE, Outcome.SET_ASIDE)
        done.given_up += outcome is Outcome.FAILED
        done.withdrawn += outcome is Outcome.WITHDRAWN
        if outcome is Outcome.UNREACHABLE:
            waiting = of_other_channels(waiting, than=row_id)
    look_after(at=now)
    schedule_state.stamp(schedule_state.SEND, now)
    return done


def send_one(*, row_id: int, at: datetime) -> Outcome:
    """Claim the row, check that it is still true, send it, settle it. Idempotent."""
    if postpone(row_id=row_id, at=at):
        return Outcome.POSTPONED
    row = claim(row_id=row_id, at=at)
    if row is None:
        return Outcome.NOT_MINE
    told: frozenset[str] = frozenset()
    try:
        parcel, told = parcel_of(row, at=at)
        handed = WITHDRAWN if parcel is None else deliver(parcel, at=at)
    except Exception as error:
        handed = set_aside(row, error, at=at)
    with transaction.atomic():
        if settle(row, **handed.changes) and handed.outcome is Outcome.SENT and told:
            settle_gathered(row=row, keys=told, at=at)
    return handed.outcome


WITHDRAWN = Delivery(Outcome.WITHDRAWN, {"state": OutboxState.WITHDRAWN})


def parcel_of(row: OutboxRow, *, at: datetime) -> tuple[Parcel | None, frozenset[str]]:
    """The content of the row as of now, in its person's language, and the keys of the messages that a list
    includes; None in place of the parcel where it is no longer true or wanted."""
    with translation.override(language_of(row.person)):
        return _parcel_of(row, at=at)


def _parcel_of(row: OutboxRow, *, at: datetime) -> tuple[Parcel | None, frozenset[str]]:
    is_list = row.stage == Stage.DIGEST
    board = Current.at(at, rule_id=None if is_list else row.item.get("rule_id", 0))
    units = row.person.units or Mill.current().units
    if is_list:
        digest = digest_for(row, board)
        if digest is None:
            return None, frozenset()
        items = [line.item for line in digest.lines]
        return Parcel(row, items, row.person, units, is_list=True, lines=digest.lines), digest.keys
    call = board.call_of(row)
    if call is None:
        return None, frozenset()
    line = line_of(call, row.person, new=True)
    return Parcel(row, [call.item], row.person, units, lines=[line]), frozenset()


def postpone(*, row_id: int, at: datetime) -> bool:
    """Postpone a row to the next hour at which its person wants mail; False where it may be sent now. Urgent
    rows are postponed only where the person wants that."""
    rows = OutboxRow.objects.sendable(at=at).filter(pk=row_id)
    row = rows.select_related("person__reminder_wish").first()
    if row is None:
        return False
    recipient = recipient_of(row.person, row.channel, mill_zone=Mill.current().zone)
    slot = recipient.slot(at)
    if slot <= at or (row.item.get("urgent") and recipient.wish.urgent_any_time):
        return False
    return bool(rows.update(state=OutboxState.PENDING, leased_until=None, next_attempt_at=slot))


def claim(*, row_id: int, at: datetime) -> OutboxRow | None:
    """Lease the row to the caller and return it; None where it is leased to another, settled or not yet
    due."""
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


def settle(row: OutboxRow, **changes: object) -> bool:
    """End the claim with the given changes. False where the lease expired and another sender has claimed the
    row."""
    held = OutboxRow.objects.filter(pk=row.pk, state=OutboxState.LEASED, attempts=row.attempts)
    return bool(held.update(leased_until=None, **changes))
