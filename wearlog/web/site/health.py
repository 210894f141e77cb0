"""The health check for monitoring: is the site alive, and does its schedule run?"""

from __future__ import annotations

from datetime import datetime
from pathlib import Path

from django.conf import settings
from django.db import Error
from django.http import HttpRequest, JsonResponse
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe

from wearlog.people import disk, upgrades
from wearlog.reminders.schedule import health
from wearlog.web.site.access import public
from wearlog.web.site.faults import kinds

NEVER = "has not run yet: start the schedule (quickstart, or a Celery worker and beat)"
OLD = "last ran %d minutes ago: look at the schedule's log and start it again"
AHEAD = "was last stamped by a clock that ran ahead: look at the machine's clock"
PAUSED = "paused, since the clock can't be believed: put it right, or run manage.py clock_is_right"
NO_DATABASE = "does not answer: look at DATABASE_URL and the server's log"
NO_BROKER = "does not answer: look at REDIS_URL and start the server"
NOT_KNOWN = "not known without the database"
READ_ONLY = "can't be written to: see whom it belongs to, and whether its disk can be written to"
NO_FOLDER = "is not there: look at DATA_DIR"
LITTLE_ROOM = "%d MB are free, which is below %d: make room now, or what people log can't be saved"
WAITING = f"the site was upgraded, its database not yet (%s). {upgrades.REMEDY}"


@public
@never_cache
@require_safe
def healthz(request: HttpRequest) -> JsonResponse:
    """200 where all is well, else 503, with a reason for each part that is not. At most three queries, no
    writes (docs/decisions/faults.md), and nothing that a stranger must not read."""
    at = timezone.now()
    found = of_the_database(at)
    room = disk_room()
    found["disk"] = LITTLE_ROOM % (room, disk.FULL_MB) if room is not None and room < disk.FULL_MB else ""
    found["folder"] = of_the_folder()
    if not settings.CELERY_TASK_ALWAYS_EAGER:
        found["broker"] = "" if health.broker_answers(settings.CELERY_BROKER_URL) else NO_BROKER
    bad = {part: why for part, why in found.items() if why}
    body = {
        "status": "bad" if bad else "ok",
        "checks": {part: why or "ok" for part, why in found.items()},
        "disk_free_mb": room,
    }
    return JsonResponse(body, status=503 if bad else 200)


def of_the_database(at: datetime) -> dict[str, str]:
    """The reasons from the database: whether it answers and can be written, unapplied migrations, heartbeats
    of the schedule."""
    found = dict.fromkeys(("database", "migrations", "scan", "send"), NOT_KNOWN)
    try:
        waiting = upgrades.waiting()
        found["database"] = "" if disk.database_can_be_written() else READ_ONLY
        found["migrations"] = WAITING % upgrades.first_names(waiting) if waiting else ""
        beats = health.heartbeats()
    except Error as error:
        kind = kinds.kind_of(error)
        kinds.release_frames(error)
        if kind is not kinds.BEHIND:  # a missing table is reported as unapplied migrations
            found["database"] = WHAT_IS_WRONG.get(kind.name, NO_DATABASE)
        return found
    found["scan"] = PAUSED if beats.doubt else reason(beats.scan_at, at=at)
    found["send"] = PAUSED if beats.doubt else reason(beats.send_at, at=at)
    return found


WHAT_IS_WRONG = {
    kinds.DAMAGED.name: "is damaged, or its disk is: stop the site and put the last backup back",
    kinds.FULL.name: "has no room left on its disk: make room now",
    kinds.READ_ONLY.name: READ_ONLY,
    kinds.BUSY.name: "is busy for too long: see who writes to it",
}


def disk_room() -> int | None:
    """Free megabytes for the log: of the fuller disk, where database and photos are on two. None where
    unknown."""
    file = disk.database_file()
    places = [Path(settings.DATA_DIR)] + ([file.parent] if file else [])
    rooms = [room for room in map(disk.free_mb, places) if room is not None]
    return min(rooms, default=None)


def of_the_folder() -> str:
    folder = Path(settings.DATA_DIR)
    if not folder.is_dir():
        return NO_FOLDER
    return "" if disk.can_be_written(folder) else READ_ONLY


def reason(last: datetime | None, *, at: datetime) -> str:
    """Why a heartbeat is not current; empty where it is."""
    if last is None:
        return NEVER
    if not health.stands_still(last, at=at):
        return ""
    return AHEAD if last > at else OLD % ((at - last).total_seconds() // 60)
