"""The scheduled tasks of the logbook, as data for Celery's beat. Imports nothing, since the settings import
it."""

from __future__ import annotations

from typing import TypedDict

LOOK_EVERY_S = 60
"""How often waiting imports are looked for, in case the message to a worker was lost."""
BACKUP_LOOK_EVERY_S = 15 * 60
"""How often to check whether the last backup is a day old."""
EXPIRES_EARLY_S = 5


class Scheduled(TypedDict):
    """An entry of Celery's beat: a task, how often it runs in seconds, and the options of its messages."""

    task: str
    schedule: float
    options: dict[str, int]


def _every(seconds: int, task: str) -> Scheduled:
    return {"task": task, "schedule": float(seconds), "options": {"expires": seconds - EXPIRES_EARLY_S}}


BEAT_SCHEDULE: dict[str, Scheduled] = {
    "carry out imports": _every(LOOK_EVERY_S, "wearlog.logbook.tasks.carry_out_imports"),
    "back up": _every(BACKUP_LOOK_EVERY_S, "wearlog.logbook.tasks.back_up_when_due"),
}
