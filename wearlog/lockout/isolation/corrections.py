"""Correcting a lock that was recorded wrongly. Who holds it, and when it was on, can't be corrected."""

from __future__ import annotations

from datetime import datetime

from django.db import transaction
from django.utils.translation import gettext as _

from wearlog.lockout.isolation.rules import (
    change,
    locked_lock,
    may_act_for,
    own_lock,
    require_fitted,
    require_user,
)
from wearlog.lockout.models import Lock
from wearlog.people import audit
from wearlog.people.cleaning import clean
from wearlog.people.models import User
from wearlog.people.refusals import NotAllowed, Refused
from wearlog.people.roles import Permission, allows


@transaction.atomic
def correct_lock(
    *, by: User | None, at: datetime, lock_id: int, number: str, place: str, firm: str, reason: str
) -> Lock:
    """Correct a lock's number, place or firm. Allowed for the person themself, and for maintainers once it is
    off."""
    user = require_user(by)
    lock = locked_lock(lock_id)
    if not may_act_for(user, lock) and not (lock.off_at is not None and allows(user, Permission.MAINTAIN)):
        raise NotAllowed(_("%(who)s corrects that. It is their lock.") % {"who": lock.holder_name})
    if lock.voided_at is not None:
        raise Refused(_("This lock was crossed out of the record."))
    if not reason.strip():
        raise Refused(_("Write why the record is changed; the reason is kept with it."), field="reason")
    if not number.strip():
        raise Refused(_("Write the number on the lock."), field="number")
    values = {"number": number.strip(), "place": place.strip(), "firm": firm.strip()}
    if all(getattr(lock, name) == value for name, value in values.items()):
        raise Refused(_("Nothing is different. Change a value, or go back."))
    for name, value in values.items():
        setattr(lock, name, value)
    clean(lock, validate_unique=False, validate_constraints=False)
    fresh: Lock = Lock.objects.get(pk=lock.pk)
    return change(user, at, fresh, action="correct", why=reason.strip(), **values)


@transaction.atomic
def strike_out_lock(*, by: User | None, at: datetime, lock_id: int, reason: str) -> Lock:
    """Void a lock that was recorded by mistake and never was on. Only the person themself can."""
    _user, lock = own_lock(by, lock_id)
    require_fitted(lock)
    if not reason.strip():
        raise Refused(_("Write why the record is changed; the reason is kept with it."), field="reason")
    audit.strike_out(by=by, at=at, record=lock, reason=reason.strip())
    return lock
