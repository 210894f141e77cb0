"""For a watcher of the machine, not for people: is the site alive, and does its schedule run?"""

from __future__ import annotations

from datetime import datetime

from django.conf import settings
from django.db import DatabaseError
from django.http import HttpRequest, JsonResponse
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe

from wearlog.reminders import health
from wearlog.web.access import public

NEVER = "has not run yet: start the schedule (quickstart, or a Celery worker and beat)"
OLD = "last ran %d minutes ago: look at the schedule's log and start it again"
AHEAD = "was last stamped by a clock that ran ahead: look at the machine's clock"
PAUSED = "paused, since the clock can't be believed: put it right, or run manage.py clock_is_right"
NO_DATABASE = "does not answer: look at DATABASE_URL and the server's log"
NO_BROKER = "does not answer: look at REDIS_URL and start the server"


@public
@never_cache
@require_safe
def healthz(request: HttpRequest) -> JsonResponse:
    """200 where all is well, else 503; a reason for each part that is not. One query, nothing written, and
    nothing said that a stranger may not read."""
    at = timezone.now()
    found: dict[str, str] = {}
    try:
        beats = health.heartbeats()
    except DatabaseError:
        found["database"] = NO_DATABASE
        found["scan"] = found["send"] = "not known without the database"
    else:
        found["database"] = ""
        found["scan"] = PAUSED if beats.doubt else reason(beats.scan_at, at=at)
        found["send"] = PAUSED if beats.doubt else reason(beats.send_at, at=at)
    if not settings.CELERY_TASK_ALWAYS_EAGER:
        found["broker"] = "" if health.broker_answers(settings.CELERY_BROKER_URL) else NO_BROKER
    bad = {part: why for part, why in found.items() if why}
    body = {
        "status": "bad" if bad else "ok",
        "checks": {part: why or "ok" for part, why in found.items()},
    }
    return JsonResponse(body, status=503 if bad else 200)


def reason(last: datetime | None, *, at: datetime) -> str:
    """Why a heartbeat is not well; empty where it is."""
    if last is None:
        return NEVER
    if not health.stands_still(last, at=at):
        return ""
    return AHEAD if last > at else OLD % ((at - last).total_seconds() // 60)
