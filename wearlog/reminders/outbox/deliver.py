"""Delivers one message by its channel and derives from the result how its row changes."""

from __future__ import annotations

import logging
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from enum import Enum

from wearlog.reminders.channels.channel import OutOfReach, Parcel, RefusedHere, TryLater, channels
from wearlog.reminders.channels.mail import addresses
from wearlog.reminders.models import OutboxRow, OutboxState

RETRY_AFTER = tuple(timedelta(minutes=minutes) for minutes in (1, 5, 15, 30))
"""The waits after the first, second ... failed attempt; the last one repeats (RFC 5321, 4.5.4.1)."""

GIVE_UP_AFTER = timedelta(days=5)
SET_ASIDE_FOR = timedelta(hours=1)

logger = logging.getLogger(__name__)


class Outcome(Enum):
    NOT_MINE = "not mine"
    SENT = "sent"
    RETRY = "to be tried again"
    UNREACHABLE = "out of reach"
    FAILED = "given up"
    WITHDRAWN = "withdrawn"
    SET_ASIDE = "set aside"
    POSTPONED = "not at this hour"


@dataclass(frozen=True)
class Delivery:
    """The outcome, and the changes for the row: `settle(row, **handed.changes)`."""

    outcome: Outcome
    changes: dict[str, object] = field(default_factory=dict)


def wait_after(attempts: int) -> timedelta:
    """How long to wait after that many failed attempts."""
    return RETRY_AFTER[min(max(attempts, 1), len(RETRY_AFTER)) - 1]


def deliver(parcel: Parcel, *, at: datetime) -> Delivery:
    """Deliver the message by its row's channel. Raises nothing and does not write the row: that is left to
    the caller, who holds the claim. If the caller dies here, a copy with the same Message-ID is sent later.

    An address that refuses for good is stopped, and rows to it are given up without a try until it is cleared
    (`addresses`); then they are requeued. Must not run inside a transaction."""
    row = parcel.row
    try:
        channel = channels()[row.channel]
        address = channel.address_of(parcel.person)
        stopped = addresses.stopped_at(channel=row.channel, address=address)
        if stopped is not None:
            return _given_up(row, RefusedHere(f"{address} is stopped: {stopped.reason}"))
        try:
            channel.deliver(parcel, at=at)
        except RefusedHere as error:
            addresses.stop(
                channel=row.channel, address=address, person=parcel.person, reason=str(error), at=at
            )
            return _given_up(row, error)
    except TryLater as error:
        return _again(row, error, Outcome.RETRY, at=at)
    except OutOfReach as error:
        return _again(row, error, Outcome.UNREACHABLE, at=at)
    except Exception as error:
        return set_aside(row, error, at=at)
    return Delivery(Outcome.SENT, {"state": OutboxState.SENT, "sent_at": at, "last_error": ""})


def set_aside(row: OutboxRow, error: Exception, *, at: datetime) -> Delivery:
    """The result for a row that fails with an unexpected error: it is retried in an hour, so that it holds up
    no others."""
    logger.error("Reminder %s can't be written or sent; it is set aside.", row.pk, exc_info=error)
    again_at = at + SET_ASIDE_FOR
    return Delivery(
        Outcome.SET_ASIDE,
        {"state": OutboxState.PENDING, "next_attempt_at": again_at, "last_error": repr(error)},
    )


def _again(row: OutboxRow, error: Exception, outcome: Outcome, *, at: datetime) -> Delivery:
    if at - (row.first_attempt_at or at) >= GIVE_UP_AFTER:
        return _given_up(row, error)
    again_at = at + wait_after(row.attempts)
    logger.warning("Reminder %s is sent again at %s: %s", row.pk, again_at, error)
    return Delivery(
        outcome, {"state": OutboxState.PENDING, "next_attempt_at": again_at, "last_error": str(error)}
    )


def _given_up(row: OutboxRow, error: Exception) -> Delivery:
    logger.error("Reminder %s to %s is given up: %s", row.pk, row.person, error)
    return Delivery(Outcome.FAILED, {"state": OutboxState.FAILED, "last_error": str(error)})
