"""Refreshes the stored items in the background: one task checks; if there is much to do, it starts others.

A message only wakes a worker; what has to be done is read from the database. A task may be delivered twice,
late or never: a page computes whatever is not stored.
"""

from __future__ import annotations

import logging
import time

from celery import shared_task
from django.conf import settings
from django.utils import timezone
from kombu.exceptions import OperationalError

from wearlog.forecasts.memory import refresh
from wearlog.forecasts.schedule import EXPIRES_EARLY_S, REFRESH_EVERY_S
from wearlog.forecasts.track import learning
from wearlog.history import sealing, versions

FEW = 4
"""So many presses are worked out at once by the worker that finds them stale."""
MESSAGES = 24
"""More presses are shared out in about so many messages: enough that no worker is left without while another
has much to do, and few enough that what each message costs by itself counts little."""
LEAST = 2
"""A message names so many presses at least."""
LEARN_AT_ONCE_S = 5.0
"""At most this much of a round is spent on replays: where one process runs everything, reminders must
wait."""
QUIET_S = 30.0
"""After the task queue was unreachable, entries don't try to reach it again for this long."""

logger = logging.getLogger(__name__)
_quiet_until: dict[str, float] = {}


@shared_task  # type: ignore[untyped-decorator]  # celery has no types
def refresh_changed() -> int:
    """Bring the stored items up to date. Returns the number of presses that had to be computed again, or to
    be looked at by other workers."""
    now = timezone.now()
    sealing.seal(at=now)  # first, since whoever reads the log from now on finds it sealed
    stale = refresh.stale(at=now)
    if not stale:
        return 0
    refresh.learn(at=now)  # once, before others begin: they find it stored
    if len(stale) > FEW and not settings.CELERY_TASK_ALWAYS_EAGER:
        share_out(stale)
        return len(stale)
    left = refresh.changed(at=now)
    refresh.refresh(at=now, press_ids=left)
    return len(left)


@shared_task  # type: ignore[untyped-decorator]  # celery has no types
def learn_from_past() -> bool:
    """Replay past days for a few seconds. True while there was something to do; False once done for today."""
    now = timezone.now()
    if learning.learned_today(at=now):
        return False
    end = time.monotonic() + LEARN_AT_ONCE_S
    learning.learn(at=now, go_on=lambda: time.monotonic() < end)
    return True


@shared_task  # type: ignore[untyped-decorator]  # celery has no types
def refresh_press(press_ids: int | list[int]) -> int:
    """Compute and store the items of those of these presses whose items are out of date. Returns their
    number. (A message from before an upgrade names one press.)"""
    now = timezone.now()
    wanted = {press_ids} if isinstance(press_ids, int) else set(press_ids)
    with versions.held():
        left = sorted(wanted.intersection(refresh.stale(at=now)))
        if left:
            refresh.refresh(at=now, press_ids=left)
    return len(left)


def share_out(press_ids: list[int]) -> None:
    """Start a task for each few presses, so that all workers share the work."""
    each = max(LEAST, -(-len(press_ids) // MESSAGES))
    for first in range(0, len(press_ids), each):
        some = press_ids[first : first + each]
        refresh_press.apply_async((some,), expires=REFRESH_EVERY_S - EXPIRES_EARLY_S)


def wake() -> None:
    """Called after an entry: let a worker refresh what it affects. Without a task queue, or while it is
    unreachable, nothing happens; the next page or the next scheduled round does the work."""
    if settings.CELERY_TASK_ALWAYS_EAGER or time.monotonic() < _quiet_until.get("queue", 0.0):
        return
    try:
        refresh_changed.apply_async(retry=False, expires=REFRESH_EVERY_S)
    except OperationalError as error:
        _quiet_until["queue"] = time.monotonic() + QUIET_S
        logger.warning("The task queue is out of reach; forecasts are refreshed by the schedule: %s", error)
