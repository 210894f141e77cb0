"""What the schedule runs. A message only wakes: the truth, and the time of the next attempt, is in the row.

No ETA, no countdown, no `retry()`, and a message is taken off the queue before its task runs
(docs/decisions/outbox.md). Each task may be delivered twice, late, or by two schedulers.
"""

from __future__ import annotations

import logging

from celery import shared_task
from celery.result import EagerResult
from django.utils import timezone
from kombu.exceptions import OperationalError

from wearlog.reminders import actions
from wearlog.reminders.queries import sendable_ids
from wearlog.reminders.schedule import EXPIRES_EARLY_S, SEND_EVERY_S

SEND_AT_ONCE = 500
logger = logging.getLogger(__name__)


@shared_task  # type: ignore[untyped-decorator]  # celery has no types
def scan_due() -> int:
    """Queue what is due now."""
    return actions.scan(at=timezone.now())


@shared_task  # type: ignore[untyped-decorator]  # celery has no types
def send_waiting() -> int:
    """Wake a sender for each row that may be sent now. Returns how many were woken.

    Where tasks run at once in this process, a mail server out of reach ends the round: the next row would
    only wait for the same time-out, and the schedule with it.
    """
    ids = sendable_ids(at=timezone.now(), limit=SEND_AT_ONCE)
    for woken, row_id in enumerate(ids):
        try:
            result = send_one.apply_async((row_id,), expires=SEND_EVERY_S - EXPIRES_EARLY_S)
        except OperationalError as error:
            logger.warning("The task queue is out of reach, the rows wait for the next round: %s", error)
            return woken
        if isinstance(result, EagerResult) and result.result == actions.Outcome.UNREACHABLE.value:
            return woken + 1
    return len(ids)


@shared_task  # type: ignore[untyped-decorator]  # celery has no types
def send_one(row_id: int) -> str:
    """Claim, send and settle one row; returns the outcome's word for the log."""
    return actions.send_one(row_id=row_id, at=timezone.now()).value
