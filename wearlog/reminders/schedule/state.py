"""When what last ran, and who may run it: the schedule's own small memory in the database.

`last` and `stamp` keep heartbeats (`SCAN`, `SEND`), `take` and `give_back` a lock with a lease.
"""

from __future__ import annotations

from datetime import datetime, timedelta

from django.db import IntegrityError, transaction
from django.db.models import Q

from wearlog.reminders.models import ScheduleState

SCAN = "scan"
"""The last round that looked for what is due and came to its end."""

SEND = "send"
"""The last round that sent what waited and came to its end, whether or not anything waited."""

SKEW = timedelta(hours=1)


def last(name: str) -> datetime | None:
    """When it was last stamped; None where it never was."""
    return ScheduleState.objects.filter(name=name).values_list("at", flat=True).first()


def stamp(name: str, at: datetime) -> None:
    """Remember that it happened at that instant. A little older than what is stored (two machines' clocks)
    changes nothing; a stored instant far ahead was written by a clock that was wrong."""
    earlier = Q(at__isnull=True) | Q(at__lt=at) | Q(at__gt=at + SKEW)
    if ScheduleState.objects.filter(name=name).filter(earlier).update(at=at):
        return
    _make(name, at=at)


def put_back(name: str, at: datetime) -> None:
    """Like `stamp`, and also to an earlier instant: after a clock that was wrong."""
    if not ScheduleState.objects.filter(name=name).update(at=at):
        _make(name, at=at)


def take(name: str, *, holder: str, at: datetime, lease: timedelta) -> bool:
    """Take the lock of that name, or keep it; False where another holds it.

    A lease that has run out is free, and so is one that ends later than any lease could: it was written by
    a clock that was wrong.
    """
    free = Q(holder__in=("", holder)) | Q(until__isnull=True) | Q(until__lte=at) | Q(until__gt=at + 2 * lease)
    held: dict[str, object] = {"holder": holder, "until": at + lease, "at": at}
    if ScheduleState.objects.filter(name=name).filter(free).update(**held):
        return True
    return _make(name, **held)


def give_back(name: str, *, holder: str) -> None:
    """End the lock where `holder` has it."""
    ScheduleState.objects.filter(name=name, holder=holder).update(holder="", until=None)


def _make(name: str, **values: object) -> bool:
    """Add the row; False where it is there, or another adds it in this moment."""
    if ScheduleState.objects.filter(name=name).exists():
        return False
    try:
        with transaction.atomic():
            ScheduleState.objects.create(name=name, **values)
    except IntegrityError:
        return False
    return True
