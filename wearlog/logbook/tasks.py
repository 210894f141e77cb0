"""Celery tasks of the logbook: imports, and one backup a day. A message only wakes a worker; which imports
wait is in the database, when the last backup was made in a file."""

from __future__ import annotations

import logging
import threading
from datetime import timedelta

from celery import shared_task
from django.conf import settings
from django.db import close_old_connections
from django.utils import timezone
from kombu.exceptions import OperationalError

from wearlog.logbook.backups import folder, making, status
from wearlog.logbook.backups.refusals import BackupRefused
from wearlog.logbook.jobs import running
from wearlog.logbook.schedule import LOOK_EVERY_S

LEFT_TO_OTHERS = timedelta(seconds=90)
"""In the one-process server a separate thread begins imports at once; where that does not happen, the
schedule carries them out after this time."""

logger = logging.getLogger(__name__)
_beside: list[threading.Thread] = []


@shared_task  # type: ignore[untyped-decorator]  # celery has no types
def carry_out_imports() -> int:
    """Carry out the imports that wait. Returns how many were begun."""
    waited = LEFT_TO_OTHERS if settings.CELERY_TASK_ALWAYS_EAGER else None
    return running.carry_out_all(clock=timezone.now, waited=waited)


def wake() -> None:
    """Wake a worker after an import was requested. Where the task queue can't be reached, the next scheduled
    round carries the import out."""
    if settings.CELERY_TASK_ALWAYS_EAGER:
        return
    try:
        carry_out_imports.apply_async(retry=False, expires=LOOK_EVERY_S)
    except OperationalError as error:
        logger.warning("The task queue is out of reach; imports are begun by the schedule: %s", error)


@shared_task  # type: ignore[untyped-decorator]  # celery has no types
def back_up_when_due() -> bool:
    """Make the daily backup; False where none is due.

    In the one-process server it is made in a separate thread, so that reminders don't wait for it.
    """
    if making.in_memory() or not status.read(making.data_dir()).is_due(at=timezone.now()):
        return False
    if not settings.CELERY_TASK_ALWAYS_EAGER:
        back_up()
        return True
    if any(thread.is_alive() for thread in _beside):
        return False
    _beside[:] = [threading.Thread(target=back_up, name="backup", daemon=True)]
    _beside[0].start()
    return True


def back_up() -> None:
    """Make a backup now. A failure is stored for `doctor` and the owner's page, and retried in an hour."""
    try:
        made = making.by_itself(at=timezone.now(), why=folder.SCHEDULED)
        logger.info("Made the backup %s.", made)
    except BackupRefused as refused:
        logger.error("No backup was made: %s", refused)
    except Exception:
        logger.exception("No backup was made.")
    finally:
        close_old_connections()
