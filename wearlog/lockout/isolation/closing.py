"""Checks before a job is closed: not while somebody else's lock is recorded as being on, since they may be
inside.

Logging work and moving a part close a job. Work that was done before the isolation began is another job, and
may be entered at any time.
"""

from __future__ import annotations

from collections.abc import Collection
from datetime import datetime

from django.utils.translation import gettext as _

from wearlog.lockout.cautions.steps import before_restart
from wearlog.lockout.isolation.queries import locks_of_others, overlaps
from wearlog.lockout.isolation.rules import lock_words
from wearlog.lockout.models import Isolation, Lock, ReleaseStatement
from wearlog.people import audit
from wearlog.people.models import User
from wearlog.people.refusals import Doubt, Doubtful, Refused
from wearlog.people.words import when
from wearlog.service.models import Service

LOCKS_STAY = "locks-stay"
PRESSED_WHILE_LOCKED = "pressed-while-locked"


class StillLocked(Refused):
    """Somebody else's lock is recorded as being on."""


def refuse_others_locks(*, by: User | None, press_id: int, done_at: datetime) -> None:
    """Raise StillLocked where somebody else's lock is on in an isolation that had begun when the work was
    done. Call it with the press locked, in the transaction that logs the work."""
    on = [lock for lock in locks_of_others(press_id, by) if lock.isolation.begun_at <= done_at]
    if on:
        raise StillLocked(
            _(
                "Still recorded as being on: %(locks)s. Whoever fitted it takes it off or hands it over on "
                "the isolation page of %(press)s; then this can be logged."
            )
            % {"locks": "; ".join(lock_words(lock) for lock in on), "press": on[0].isolation.press}
        )


def ask_about_own_locks(
    *, by: User | None, press_id: int, done_at: datetime, confirmed: Collection[str]
) -> None:
    """Raise Doubtful where the person logs work while their own locks are on: do they stay on? The question
    names the steps before a restart."""
    if by is None or LOCKS_STAY in confirmed:
        return
    on = Lock.objects.fitted().filter(
        holder=by,
        isolation__press_id=press_id,
        isolation__ended_at__isnull=True,
        isolation__begun_at__lte=done_at,
    )
    names = ", ".join(lock.source_name for lock in on)
    if names:
        raise Doubtful(
            [
                Doubt(
                    LOCKS_STAY,
                    _("Your lock is recorded on %(sources)s. Does it stay on for now? %(steps)s")
                    % {"sources": names, "steps": before_restart()},
                )
            ]
        )


def ask_about_pressing(
    *, press_id: int, start: datetime, end: datetime | None, confirmed: Collection[str]
) -> None:
    """Raise Doubtful where a run is logged for a time in which a lock was recorded as being on."""
    if PRESSED_WHILE_LOCKED in confirmed:
        return
    lock = overlaps(press_id, start=start, end=end)
    if lock is not None:
        raise Doubtful(
            [
                Doubt(
                    PRESSED_WHILE_LOCKED,
                    _(
                        "From %(since)s on, %(lock)s was recorded as being on. "
                        "Did this press run in that time?"
                    )
                    % {"since": when(lock.fitted_at), "lock": lock_words(lock)},
                    "started_at",
                )
            ]
        )


def state_release(*, by: User | None, at: datetime, service: Service) -> ReleaseStatement:
    """Record that the person who logged the work stated the steps before a restart. Once for each service."""
    found = ReleaseStatement.objects.filter(service=service).first()
    if found is not None:
        return found
    statement = ReleaseStatement.objects.create(
        service=service, at=at, by=by, by_name=audit.name_of(by), stated=before_restart()
    )
    audit.write(at=at, by=by, action="state", record=statement, new=audit.snapshot(statement))
    return statement


def isolation_of(service: Service) -> Isolation | None:
    """The isolation in which the work was done, or None."""
    rows = Isolation.objects.not_voided().filter(press_id=service.press_id, begun_at__lte=service.done_at)
    found: Isolation | None = (
        (rows.filter(ended_at__isnull=True) | rows.filter(ended_at__gte=service.done_at))
        .order_by("-begun_at")
        .first()
    )
    return found
