"""When backups are looked after, as data for Celery's beat. Imports nothing, since the settings read it."""

from __future__ import annotations

from typing import Any

LOOK_EVERY_S = 15 * 60
"""How often it is looked whether the last backup is a day old."""
EXPIRES_EARLY_S = 5

BEAT_SCHEDULE: dict[str, dict[str, Any]] = {
    "back up": {
        "task": "wearlog.logbook.tasks.back_up_when_due",
        "schedule": float(LOOK_EVERY_S),
        "options": {"expires": LOOK_EVERY_S - EXPIRES_EARLY_S},
    },
}
