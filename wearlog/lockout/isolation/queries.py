"""Queries on the isolation record."""

from __future__ import annotations

from collections.abc import Collection
from datetime import datetime

from django.db.models import OuterRef, Prefetch, Q, Subquery

from wearlog.lockout.cautions.queries import NEEDS_NO_SWITCH
from wearlog.lockout.models import EnergySource, Isolation, Lock, Off
from wearlog.people.models import User

LOCKS = Prefetch("locks", Lock.objects.select_related("source", "holder"))
"""The locks of isolations, each with its point and the person whose it is; one query."""


def open_isolation(press_id: int) -> Isolation | None:
    """The isolation in progress at the press, or None."""
    return next(iter(open_isolations([press_id])), None)


def open_isolations(press_ids: Collection[int] | None = None) -> list[Isolation]:
    """The isolations in progress (at these presses; None: at all), with press and locks loaded; two
    queries."""
    rows = Isolation.objects.not_voided().filter(ended_at__isnull=True)
    if press_ids is not None:
        rows = rows.filter(press_id__in=press_ids)
    return list(rows.select_related("press").prefetch_related(LOCKS))


def concerning(user: User) -> tuple[list[Isolation], list[Lock]]:
    """Every isolation in progress, and the person's locks that were taken off in their absence and about
    which nobody has told them yet. One query where there are none."""
    untold = Q(locks__off_how=Off.FOR_ANOTHER, locks__told_at__isnull=True, locks__voided_at__isnull=True)
    rows = list(
        Isolation.objects.not_voided()
        .filter(Q(ended_at__isnull=True) | (untold & Q(locks__holder=user)))
        .distinct()
        .select_related("press")
        .prefetch_related(LOCKS)
    )
    return (
        [isolation for isolation in rows if isolation.ended_at is None],
        [lock for row in rows for lock in row.locks.all() if lock.must_be_told and lock.is_of(user)],
    )


def fitted_locks(isolation: Isolation) -> list[Lock]:
    """The locks that are recorded as being on, in the order in which they were fitted."""
    return [lock for lock in isolation.locks.all() if lock.is_fitted]


def bare_sources(isolation: Isolation) -> list[EnergySource]:
    """Recorded sources of the press on which no lock is recorded. Pressure, weight and heat that are stored
    in the machine itself are left out, as no lock is expected on them."""
    locked = {lock.source_name for lock in fitted_locks(isolation)}
    return [
        source
        for source in EnergySource.objects.filter(press_id=isolation.press_id)
        if source.source not in locked and source.kind not in NEEDS_NO_SWITCH
    ]


def off_for_a_test(isolation: Isolation) -> list[Lock]:
    """Locks taken off for a test under power whose person has not fitted one on the source since."""
    locks = [lock for lock in isolation.locks.all() if lock.voided_at is None]
    return [
        lock
        for lock in locks
        if lock.off_how == Off.TEST
        and not any(
            later.source_name == lock.source_name
            and later.holder_name == lock.holder_name
            and later.pk > lock.pk
            for later in locks
        )
    ]


def locks_of_others(press_id: int, by: User | None) -> list[Lock]:
    """Locks recorded as being on at the press that are not those of `by`. People without an account always
    count as somebody else."""
    rows = Lock.objects.fitted().filter(
        isolation__press_id=press_id, isolation__ended_at__isnull=True, isolation__voided_at__isnull=True
    )
    return [lock for lock in rows.select_related("isolation__press") if not lock.is_of(by)]


def to_be_told(press_id: int) -> list[Lock]:
    """Locks of the press that were taken off in the absence of people who have not been told yet."""
    rows = Lock.objects.not_voided().filter(off_how=Off.FOR_ANOTHER, told_at__isnull=True)
    return list(rows.filter(isolation__press_id=press_id).select_related("isolation__press", "holder"))


def last_numbers(user: User, press_id: int) -> dict[int, str]:
    """By energy source of the press, the number of the lock that the person last fitted on it, as a default
    for the form; empty where there was none. One query."""
    last = Lock.objects.filter(holder=user, source=OuterRef("pk")).order_by("-fitted_at", "-pk")
    sources = EnergySource.objects.filter(press_id=press_id)
    return {pk: number or "" for pk, number in sources.values_list("pk", Subquery(last.values("number")[:1]))}


def past_isolations(press_id: int, *, most: int = 10) -> list[Isolation]:
    """The press's isolations that have ended, latest first, at most `most`."""
    rows = Isolation.objects.not_voided().filter(press_id=press_id, ended_at__isnull=False)
    return list(rows.order_by("-ended_at").prefetch_related("locks")[:most])


def overlaps(press_id: int, *, start: datetime, end: datetime | None) -> Lock | None:
    """A lock that was recorded as being on at some moment of [start, end), or None."""
    rows = Lock.objects.not_voided().filter(isolation__press_id=press_id, isolation__voided_at__isnull=True)
    rows = rows.filter(off_at__isnull=True) | rows.filter(off_at__gt=start)
    if end is not None:
        rows = rows.filter(fitted_at__lt=end)
    found: Lock | None = rows.order_by("fitted_at").first()
    return found
