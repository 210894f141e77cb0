"""What of the logbook runs when, as data for Celery's beat. Imports nothing, since the settings read it."""

from __future__ import annotations

from typing import Any

LOOK_EVERY_S = 60
EXPIRES_EARLY_S = 5

BEAT_SCHEDULE: dict[str, dict[str, Any]] = {
    "carry out imports": {
        "task": "wearlog.logbook.tasks.carry_out_imports",
        "schedule": float(LOOK_EVERY_S),
        "options": {"expires": LOOK_EVERY_S - EXPIRES_EARLY_S},
    },
}
