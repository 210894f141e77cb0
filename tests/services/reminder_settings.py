"""The shipped settings with a schedule that ticks every two seconds, so that a test need not wait."""

from typing import Any

from wearlog.config import settings as shipped

TICK_S = 2.0

globals().update({name: getattr(shipped, name) for name in dir(shipped) if name.isupper()})

CELERY_BEAT_SCHEDULE: dict[str, dict[str, Any]] = {
    name: entry | {"schedule": TICK_S} for name, entry in shipped.CELERY_BEAT_SCHEDULE.items()
}
