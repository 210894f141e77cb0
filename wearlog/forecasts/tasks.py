"""Refreshing the stored items in the background: one message looks, and what is much is shared out.

A message only wakes; what has to be done stands in the database. Each task may be delivered twice, late or
never: pages work out for themselves what is not stored.
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

CHUNK = 4
"""Presses to one message: reading the log costs a worker more than the items of one press."""
LEARN_AT_ONCE_S = 5.0
"""So much of a round goes to replays at most; where one process does everything, reminders come next."""
QUIET_S = 30.0
"""How long an entry does not try again to reach a task queue that was out of reach."""

logger = logging.getLogger(__name__)
_quiet_until: dict[str, float] = {}


@shared_task  # type: ignore[untyped-decorator]  # celery has no types
def refresh_changed() -> int:
    """Bring the stored items in step with the log. Returns how many presses had to be worked out again."""
    now = timezone.now()
    if not refresh.stale(at=now):
        return 0
    left = refresh.changed(at=now)
    if settings.CELERY_TASK_ALWAYS_EAGER or len(left) <= CHUNK:
        refresh.refresh(at=now, press_ids=left)
    else:
        share_out(left)
    return len(left)


@shared_task  # type: ignore[untyped-decorator]  # celery has no types
def learn_from_past() -> bool:
    """A few seconds' worth of replays, until those of the day are done; then False, without any work."""
    now = timezone.now()
    if learning.learned_today(at=now):
        return False
    end = time.monotonic() + LEARN_AT_ONCE_S
    learning.learn(at=now, go_on=lambda: time.monotonic() < end)
    return True


@shared_task  # type: ignore[untyped-decorator]  # celery has no types
def refresh_press(press_id: int) -> bool:
    """Work out and store the items of one press; False where another was quicker."""
    now = timezone.now()
    if press_id not in refresh.stale(at=now):
        return False
    refresh.refresh(at=now, press_ids=[press_id])
    return True


def share_out(press_ids: list[int]) -> None:
    """One task per press, a few to a message, so that all workers share the work."""
    chunks = refresh_press.chunks([(press_id,) for press_id in press_ids], CHUNK)
    chunks.apply_async(expires=REFRESH_EVERY_S - EXPIRES_EARLY_S)


def wake() -> None:
    """After an entry: let a worker refresh what it touched. Without a task queue, or where it is out of
    reach, nothing happens: the next page, or the next round of the schedule, does it."""
    if settings.CELERY_TASK_ALWAYS_EAGER or time.monotonic() < _quiet_until.get("queue", 0.0):
        return
    try:
        refresh_changed.apply_async(retry=False, expires=REFRESH_EVERY_S)
    except OperationalError as error:
        _quiet_until["queue"] = time.monotonic() + QUIET_S
        logger.warning("The task queue is out of reach; forecasts are refreshed by the schedule: %s", error)
