"""The scheduled tasks of the logbook, as data for Celery's beat. Imports nothing, since the settings import
it."""

from __future__ import annotations

LOOK_EVERY_S = 60
"""How often waiting imports are looked for, in case the message to a worker was lost."""
BACKUP_LOOK_EVERY_S = 15 * 60
"""How often to check whether the last backup is a day old."""
EXPIRES_EARLY_S = 5


def _every(seconds: int, task: str) -> dict[str, object]:
    return {"task": task, "schedule": float(seconds), "options": {"expires": seconds - EXPIRES_EARLY_S}}


BEAT_SCHEDULE: dict[str, dict[str, object]] = {
    "carry out imports": _every(LOOK_EVERY_S, "wearlog.logbook.tasks.carry_out_imports"),
    "back up": _every(BACKUP_LOOK_EVERY_S, "wearlog.logbook.tasks.back_up_when_due"),
}
