"""Handing one message to its channel, and what the answer means for its row."""

from __future__ import annotations

import logging
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from enum import Enum
from typing import Any

from wearlog.reminders.channels.channel import OutOfReach, Parcel, RefusedHere, TryLater, channels
from wearlog.reminders.channels.mail import addresses
from wearlog.reminders.models import OutboxRow, OutboxState

RETRY_AFTER = tuple(timedelta(minutes=minutes) for minutes in (1, 5, 15, 30))
"""After the first, second ... failed attempt, the last one again and again (RFC 5321, 4.5.4.1)."""

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
    """What came of it, and what the row is to become: `settle(row, **handed.changes)`."""

    outcome: Outcome
    changes: dict[str, Any] = field(default_factory=dict)


def wait_after(attempts: int) -> timedelta:
    """How long to wait after so many attempts in vain."""
    return RETRY_AFTER[min(max(attempts, 1), len(RETRY_AFTER)) - 1]


def deliver(parcel: Parcel, *, at: datetime) -> Delivery:
    """Deliver the message by its row's channel. Raises nothing and leaves the row to the caller, who holds
    its claim: a caller that dies here costs one copy of the message, with the same Message-ID.

    An address that refuses for good is stopped, and rows to it are given up untried until it is cleared
    (`addresses`); then they are taken up again. Must not run inside a transaction."""
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
    """What to do with a row that fails by itself: others go on, it comes again in an hour."""
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
