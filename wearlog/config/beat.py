"""The scheduler of `celery beat` and of the one-process server. Only one process at a time sends the tasks.

The one that holds the lock in the database does. Any other that is started, by mistake or as a standby,
checks every few seconds whether the lock is free. When a holder dies, another takes over once its lease
expires.
"""

from __future__ import annotations

import logging
import os
import socket
import uuid
from datetime import datetime, timedelta

from celery.beat import ScheduleEntry, Scheduler
from django.db import DatabaseError, close_old_connections
from django.utils import timezone

from wearlog.reminders.schedule import state as schedule_state

LOCK = "beat"
LEASE = timedelta(seconds=60)
RENEW_S = 15.0
"""Seconds between two renewals by the holder: four renewals in one lease."""

LOOK_S = 5.0
"""Seconds between two attempts of the others to take the lock."""

logger = logging.getLogger(__name__)


class OneBeat(Scheduler):  # type: ignore[misc]  # celery has no types
    """Celery's in-memory scheduler, active only while it holds the lock. It runs every task when it starts or
    takes over: the tasks find in the database what is due, so no state of the schedule is kept on disk. A
    task that fails is logged and the schedule continues."""

    max_interval = RENEW_S

    def __init__(self, *args: object, **kwargs: object) -> None:
        self.holder = f"{socket.gethostname()} {os.getpid()} {uuid.uuid4().hex[:12]}"
        self.beats = False
        self.renewed_at: datetime | None = None
        super().__init__(*args, **kwargs)

    def setup_schedule(self) -> None:
        super().setup_schedule()
        self.all_due()

    def all_due(self) -> None:
        """Make every task due in the next round."""
        for entry in self.schedule.values():
            entry.last_run_at = self.app.now() - timedelta(days=1)
        self._heap = None  # it caches the times planned before

    def tick(self, *args: object, **kwargs: object) -> float:
        if not self.hold():
            return min(LOOK_S, float(self.max_interval))
        return float(super().tick(*args, **kwargs))

    def hold(self) -> bool:
        """Take or renew the lock; return whether this process holds it. False while the database can't be
        reached, since no task could run without it."""
        now = timezone.now()
        if self.beats and self.renewed_at and 0 <= (now - self.renewed_at).total_seconds() < RENEW_S:
            return True
        close_old_connections()
        try:
            held = schedule_state.take(LOCK, holder=self.holder, at=now, lease=LEASE)
        except DatabaseError as error:
            logger.warning("The schedule waits for the database: %s", error)
            held = False
        finally:
            close_old_connections()
        if held and not self.beats:
            logger.info("This process beats now (%s).", self.holder)
            self.all_due()
        elif self.beats and not held:
            logger.warning("Another process beats now; this one stands by.")
        self.beats, self.renewed_at = held, now
        return held

    def apply_async(self, entry: ScheduleEntry, *args: object, **kwargs: object) -> object:
        close_old_connections()
        try:
            return super().apply_async(entry, *args, **kwargs)
        except Exception:
            logger.exception("The scheduled task %s failed; it runs again at its next time.", entry.name)
            return None
        finally:
            close_old_connections()

    def close(self) -> None:
        """Release the lock, so that another process can take over at once."""
        super().close()
        if not self.beats:
            return
        self.beats = False
        try:
            schedule_state.give_back(LOCK, holder=self.holder)
        except DatabaseError as error:
            logger.warning("The schedule's lock could not be given back; it ends by itself: %s", error)
        finally:
            close_old_connections()
