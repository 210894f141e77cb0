"""Whether the schedule is alive: when it last scanned and sent, and what blocks it. Reads only."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from wearlog.reminders.models import ScheduleState
from wearlog.reminders.schedule import clock
from wearlog.reminders.schedule import state as schedule_state

STANDS_STILL_AFTER = timedelta(minutes=5)
"""How old the last round may be; there is one every minute."""

BROKER_WITHIN_S = 2.0


@dataclass(frozen=True)
class Heartbeats:
    """The times of the last scan and the last sending; None where there was none. `doubt` is set while
    paused."""

    scan_at: datetime | None
    send_at: datetime | None
    doubt: clock.ClockDoubt | None

    def scan_stands_still(self, *, at: datetime) -> bool:
        return stands_still(self.scan_at, at=at)

    def send_stands_still(self, *, at: datetime) -> bool:
        return stands_still(self.send_at, at=at)

    def is_well(self, *, at: datetime) -> bool:
        return self.doubt is None and not (self.scan_stands_still(at=at) or self.send_stands_still(at=at))

    def stands_still_since(self, *, at: datetime) -> datetime | None:
        """When the older of the two last ran; None where one never did, or its time lies in the future."""
        if self.scan_at is None or self.send_at is None:
            return None
        oldest = min(self.scan_at, self.send_at)
        return oldest if oldest <= at else None


def heartbeats() -> Heartbeats:
    """One query."""
    names = (schedule_state.SCAN, schedule_state.SEND, clock.PAUSE)
    rows = {row.name: row for row in ScheduleState.objects.filter(name__in=names)}
    pause = rows.get(clock.PAUSE)
    return Heartbeats(
        scan_at=rows[schedule_state.SCAN].at if schedule_state.SCAN in rows else None,
        send_at=rows[schedule_state.SEND].at if schedule_state.SEND in rows else None,
        doubt=clock.ClockDoubt(pause.at, pause.until) if pause and pause.at and pause.until else None,
    )


def stands_still(last: datetime | None, *, at: datetime) -> bool:
    """Whether a heartbeat is too old. One farther in the future than two machines' clocks may differ was
    written by a wrong clock and counts as too old."""
    return last is None or at - last > STANDS_STILL_AFTER or last - at > schedule_state.SKEW


def broker_answers(url: str) -> bool:
    """Whether the task queue answers within two seconds. `url` as in REDIS_URL."""
    import redis  # here, for a site without a queue starts sooner without it

    try:
        with redis.Redis.from_url(
            url, socket_connect_timeout=BROKER_WITHIN_S, socket_timeout=BROKER_WITHIN_S
        ) as server:
            return bool(server.ping())
    except (redis.RedisError, OSError, ValueError):
        return False
