"""The scheduled tasks, as data for Celery's beat. Imports nothing, since the settings import it.

A message expires shortly before the next one is sent, so that none pile up while no worker runs.
"""

from __future__ import annotations

SCAN_EVERY_S = 60
SEND_EVERY_S = 60
EXPIRES_EARLY_S = 5

BEAT_SCHEDULE: dict[str, dict[str, object]] = {
    "find what is due": {
        "task": "wearlog.reminders.tasks.scan_due",
        "schedule": float(SCAN_EVERY_S),
        "options": {"expires": SCAN_EVERY_S - EXPIRES_EARLY_S},
    },
    "send what waits": {
        "task": "wearlog.reminders.tasks.send_waiting",
        "schedule": float(SEND_EVERY_S),
        "options": {"expires": SEND_EVERY_S - EXPIRES_EARLY_S},
    },
}
