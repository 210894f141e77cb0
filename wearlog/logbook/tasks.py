"""What the schedule runs: one backup a day. A message only wakes; what was made stands in a file."""

from __future__ import annotations

import logging
import threading

from celery import shared_task
from django.conf import settings
from django.db import close_old_connections
from django.utils import timezone

from wearlog.logbook.backups import folder, making, status
from wearlog.logbook.backups.refusals import BackupRefused

logger = logging.getLogger(__name__)
_beside: list[threading.Thread] = []


@shared_task  # type: ignore[untyped-decorator]  # celery has no types
def back_up_when_due() -> bool:
    """Make the day's backup; False where none is due.

    Where one process does everything it is made in a thread beside: reminders must not wait for it.
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
    """Make one now. What went wrong is kept for `doctor` and the owner's page, and tried again in an hour."""
    try:
        made = making.by_itself(at=timezone.now(), why=folder.SCHEDULED)
        logger.info("Made the backup %s.", made)
    except BackupRefused as refused:
        logger.error("No backup was made: %s", refused)
    except Exception:
        logger.exception("No backup was made.")
    finally:
        close_old_connections()
