"""The schedule of forecast tasks, as data for Celery beat. Imports nothing, since the settings import it."""

from __future__ import annotations

REFRESH_EVERY_S = 60
EXPIRES_EARLY_S = 5


BEAT_SCHEDULE: dict[str, dict[str, object]] = {
    "refresh forecasts": {
        "task": "wearlog.forecasts.tasks.refresh_changed",
        "schedule": float(REFRESH_EVERY_S),
        "options": {"expires": REFRESH_EVERY_S - EXPIRES_EARLY_S},
    },
    "learn from past forecasts": {
        "task": "wearlog.forecasts.tasks.learn_from_past",
        "schedule": float(REFRESH_EVERY_S),
        "options": {"expires": REFRESH_EVERY_S - EXPIRES_EARLY_S},
    },
}
