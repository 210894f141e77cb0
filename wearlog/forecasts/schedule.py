"""The schedule of forecast tasks, as data for Celery beat. Imports nothing, since the settings import it."""

from __future__ import annotations

from typing import TypedDict

REFRESH_EVERY_S = 60
EXPIRES_EARLY_S = 5


class Scheduled(TypedDict):
    """An entry of Celery's beat: a task, how often it runs in seconds, and the options of its messages."""

    task: str
    schedule: float
    options: dict[str, int]


BEAT_SCHEDULE: dict[str, Scheduled] = {
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
