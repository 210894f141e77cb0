"""Imports by workers. A message only wakes; which imports wait stands in the database."""

from __future__ import annotations

import logging
from datetime import timedelta

from celery import shared_task
from django.conf import settings
from django.utils import timezone
from kombu.exceptions import OperationalError

from wearlog.logbook.jobs import running
from wearlog.logbook.schedule import LOOK_EVERY_S

LEFT_TO_OTHERS = timedelta(seconds=90)
"""Without workers the one-process server begins imports at once, apart from the schedule's thread; where none
runs, the schedule takes them after this time."""

logger = logging.getLogger(__name__)


@shared_task  # type: ignore[untyped-decorator]  # celery has no types
def carry_out_imports() -> int:
    """Carry out the imports that wait. Returns how many were begun."""
    waited = LEFT_TO_OTHERS if settings.CELERY_TASK_ALWAYS_EAGER else None
    return running.carry_out_all(clock=timezone.now, waited=waited)


def wake() -> None:
    """After somebody asked for an import: let a worker begin. Where the task queue is out of reach, the next
    round of the schedule does it."""
    if settings.CELERY_TASK_ALWAYS_EAGER:
        return
    try:
        carry_out_imports.apply_async(retry=False, expires=LOOK_EVERY_S)
    except OperationalError as error:
        logger.warning("The task queue is out of reach; imports are begun by the schedule: %s", error)
