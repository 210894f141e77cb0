"""Heartbeats and locks of the schedule, stored in the database.

`last` and `stamp` are for heartbeats (`SCAN`, `SEND`), `take` and `give_back` for a lock with a lease.
"""

from __future__ import annotations

from datetime import datetime, timedelta

from django.db import IntegrityError, transaction
from django.db.models import Q

from wearlog.reminders.models import ScheduleState

SCAN = "scan"
"""The last completed scan."""

SEND = "send"
"""The last completed sending round, whether or not anything was waiting."""

SKEW = timedelta(hours=1)


def last(name: str) -> datetime | None:
    """The time of the last stamp; None where there is none."""
    return ScheduleState.objects.filter(name=name).values_list("at", flat=True).first()


def stamp(name: str, at: datetime) -> None:
    """Store the time. One slightly older than the stored time (two machines' clocks) changes nothing; a
    stored time far in the future was written by a wrong clock and is replaced."""
    earlier = Q(at__isnull=True) | Q(at__lt=at) | Q(at__gt=at + SKEW)
    if ScheduleState.objects.filter(name=name).filter(earlier).update(at=at):
        return
    _make(name, at=at)


def put_back(name: str, at: datetime) -> None:
    """Like `stamp`, but also to an earlier time, for use after the clock was wrong."""
    if not ScheduleState.objects.filter(name=name).update(at=at):
        _make(name, at=at)


def take(name: str, *, holder: str, at: datetime, lease: timedelta) -> bool:
    """Take or renew the lock of that name; False where another holds it.

    An expired lease is free, and so is one that ends later than any lease could, since it was written by a
    wrong clock.
    """
    free = Q(holder__in=("", holder)) | Q(until__isnull=True) | Q(until__lte=at) | Q(until__gt=at + 2 * lease)
    held: dict[str, object] = {"holder": holder, "until": at + lease, "at": at}
    if ScheduleState.objects.filter(name=name).filter(free).update(**held):
        return True
    return _make(name, **held)


def give_back(name: str, *, holder: str) -> None:
    """Release the lock if `holder` has it."""
    ScheduleState.objects.filter(name=name, holder=holder).update(holder="", until=None)


def _make(name: str, **values: object) -> bool:
    """Add the row; False where it already exists, also by a simultaneous insert."""
    if ScheduleState.objects.filter(name=name).exists():
        return False
    try:
        with transaction.atomic():
            ScheduleState.objects.create(name=name, **values)
    except IntegrityError:
        return False
    return True
