"""Whether this machine's clock can be trusted; scan and sender are paused while it can't.

A wrong clock would send a year of reminders at once, or none. Within a process the wall clock is compared
with a monotonic one, across restarts with the last instant seen. A deviation pauses scan and sender, and the
site asks an owner, until the clock is corrected or an owner confirms it (docs/reminders.md).
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from django.db import transaction

from wearlog.people import audit
from wearlog.people.models import User
from wearlog.people.roles import Permission, require
from wearlog.reminders.models import LONGEST_LEASE, OutboxRow, OutboxState, ScheduleState
from wearlog.reminders.schedule import state as schedule_state

SEEN = "clock seen"
"""The last instant at which the clock was trusted."""

CONFIRMED = "clock confirmed"
"""When an owner last confirmed the clock, by that clock."""

PAUSE = "clock pause"
"""Exists while scan and sender are paused: `at` is what the clock said, `until` what it should have said."""

JUMP = timedelta(hours=24)
"""How far the wall clock and the monotonic clock may diverge within one process."""

LONGEST_OUTAGE = timedelta(days=60)
"""Up to this far ahead of the last instant seen, a start is taken for one after an outage, not for a wrong
clock."""

BACK = timedelta(hours=1)
"""Up to this far behind it, a start is taken for a small correction of the clock."""

FARTHEST_ATTEMPT = timedelta(days=15)
"""How far ahead a next attempt may be planned, since up to two weeks may pass until a weekday for mail.
One that is farther ahead was planned by a wrong clock."""


@dataclass
class Watch:
    """The memory of one process: an instant and the reading of the monotonic clock at that moment. `steady_s`
    continues while the machine sleeps, where the system has such a clock."""

    at: datetime | None = None
    steady_s: float = 0.0

    def expected(self, steady_s: float) -> datetime | None:
        """What the wall clock should say; None before the first call of `check_clock`."""
        return None if self.at is None else self.at + timedelta(seconds=steady_s - self.steady_s)


@dataclass(frozen=True)
class ClockDoubt:
    """Why scan and sender are paused: what the clock said, and what it should have said."""

    shown: datetime
    expected: datetime


def check_clock(*, watch: Watch, at: datetime, steady_s: float) -> ClockDoubt | None:
    """Check the clock, and remember its time where it can be trusted. Begins the pause, or ends it: a
    corrected clock needs no confirmation."""
    doubt = _doubt(watch, at=at, steady_s=steady_s)
    if doubt is not None and not _is_confirmed(at):
        ScheduleState.objects.update_or_create(
            name=PAUSE, defaults={"at": doubt.shown, "until": doubt.expected}
        )
        return doubt
    watch.at, watch.steady_s = at, steady_s
    schedule_state.put_back(SEEN, at)
    if current_doubt() is not None:
        ScheduleState.objects.filter(name=PAUSE).delete()
    return None


def _doubt(watch: Watch, *, at: datetime, steady_s: float) -> ClockDoubt | None:
    expected = watch.expected(steady_s)
    if expected is not None:
        return ClockDoubt(at, expected) if abs(at - expected) > JUMP else None
    seen = schedule_state.last(SEEN)
    if seen is None or -BACK <= at - seen <= LONGEST_OUTAGE:
        return None
    return ClockDoubt(at, seen)


def _is_confirmed(at: datetime) -> bool:
    confirmed = schedule_state.last(CONFIRMED)
    return confirmed is not None and -BACK <= at - confirmed < JUMP


def current_doubt() -> ClockDoubt | None:
    """The pause in force, or None, for pages and for senders between two checks."""
    row = ScheduleState.objects.filter(name=PAUSE).first()
    return ClockDoubt(row.at, row.until) if row is not None and row.at and row.until else None


@transaction.atomic
def resume(*, by: User | None, at: datetime) -> bool:
    """End the pause after an owner's confirmation that the clock is right. False where nothing was paused.

    Times set by a clock that ran ahead (heartbeats, attempts, leases) are set to now; nothing that was sent
    is sent again. Raises NotAllowed.
    """
    require(by, Permission.OWN)
    row = ScheduleState.objects.select_for_update().filter(name=PAUSE).first()
    if row is None:
        return False
    audit.write(at=at, by=by, action="clock is right", record=row, old=audit.snapshot(row))
    row.delete()
    for name in (SEEN, CONFIRMED):
        schedule_state.put_back(name, at)
    for name in (schedule_state.SCAN, schedule_state.SEND):
        ScheduleState.objects.filter(name=name, at__gt=at).update(at=at)
    waiting = OutboxRow.objects.filter(state=OutboxState.PENDING)
    waiting.filter(next_attempt_at__gt=at + FARTHEST_ATTEMPT).update(next_attempt_at=at)
    leased = OutboxRow.objects.filter(state=OutboxState.LEASED)
    leased.filter(leased_until__gt=at + LONGEST_LEASE).update(leased_until=at)
    return True
