"""The scheduled tasks of `people`, as data for Celery's beat. Imports nothing, since the settings import
it."""

from __future__ import annotations

CLEAR_EVERY_S = 3600
EXPIRES_EARLY_S = 5

BEAT_SCHEDULE: dict[str, dict[str, object]] = {
    "clear what has expired": {
        "task": "wearlog.people.tasks.clear_expired",
        "schedule": float(CLEAR_EVERY_S),
        "options": {"expires": CLEAR_EVERY_S - EXPIRES_EARLY_S},
    },
}
