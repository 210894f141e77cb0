"""Celery tasks of reminders. A message only wakes a worker: the state and the time of the next attempt are in
the row.

No ETA, no countdown, no `retry()`, and a message is acknowledged before its task runs
(docs/decisions/outbox.md). Each task must tolerate being delivered twice, late, or by two schedulers.
"""

from __future__ import annotations

import logging
import time

from celery import shared_task
from celery.result import EagerResult
from django.utils import timezone
from kombu.exceptions import OperationalError

from wearlog.reminders.channels.mail.notices import look_after
from wearlog.reminders.outbox import actions
from wearlog.reminders.outbox.queries import of_other_channels, sendable_ids
from wearlog.reminders.schedule import clock
from wearlog.reminders.schedule import state as schedule_state
from wearlog.reminders.schedule.tasks_due import EXPIRES_EARLY_S, SEND_EVERY_S

SEND_AT_ONCE = 500
LONGEST_ROUND_S = 40.0
"""In the one-process server a sending round stops after this time and leaves the rest to the next: the scan
waits in the same thread, and the schedule's lease of a minute has to be renewed."""

WATCH = clock.Watch()
logger = logging.getLogger(__name__)


def steady_s() -> float:
    """Seconds of a monotonic clock; where the system has one, of a clock that also counts sleep."""
    boot = getattr(time, "CLOCK_BOOTTIME", None)
    return time.monotonic() if boot is None else time.clock_gettime(boot)


def is_paused() -> bool:
    """Check the clock; True, with a line in the log, where it can't be trusted."""
    doubt = clock.check_clock(watch=WATCH, at=timezone.now(), steady_s=steady_s())
    if doubt is not None:
        logger.error(
            "Reminders are paused: the clock says %s and should be about %s. Put it right, or if it is right "
            "run manage.py clock_is_right.",
            doubt.shown,
            doubt.expected,
        )
    return doubt is not None


@shared_task  # type: ignore[untyped-decorator]  # celery has no types
def scan_due() -> int:
    """Run the scan; returns how many messages were queued."""
    return 0 if is_paused() else actions.scan(at=timezone.now())


@shared_task  # type: ignore[untyped-decorator]  # celery has no types
def send_waiting() -> int:
    """Wake a sender for each row that may be sent now. Returns how many were woken.

    Where tasks run immediately in this process, a channel that can't be reached is skipped for this round,
    since each row would wait for the same time-out, and the schedule with it. Owners are notified of stopped
    addresses.
    """
    if is_paused():
        return 0
    begun = time.monotonic()
    schedule_state.stamp(schedule_state.SEND, timezone.now())
    ids = sendable_ids(at=timezone.now(), limit=SEND_AT_ONCE)
    woken = 0
    while ids:
        row_id = ids.pop(0)
        try:
            result = send_one.apply_async((row_id,), expires=SEND_EVERY_S - EXPIRES_EARLY_S)
        except OperationalError as error:
            logger.warning("The task queue is out of reach, the rows wait for the next round: %s", error)
            break
        woken += 1
        if isinstance(result, EagerResult):
            if result.result == actions.Outcome.UNREACHABLE.value:
                ids = of_other_channels(ids, than=row_id)
            if time.monotonic() - begun > LONGEST_ROUND_S:
                break
    look_after(at=timezone.now())
    schedule_state.stamp(schedule_state.SEND, timezone.now())
    return woken


@shared_task  # type: ignore[untyped-decorator]  # celery has no types
def send_one(row_id: int) -> str:
    """Claim, send and settle one row; returns the outcome's word for the log."""
    if clock.current_doubt() is not None:
        return "paused"
    return actions.send_one(row_id=row_id, at=timezone.now()).value
