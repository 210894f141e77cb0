"""Checks shared by all actions on the isolation record: the press's row is locked, the person is the right
one, the steps are stated."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import TypeVar

from django.db.models.functions import Lower
from django.utils.translation import gettext as _

from wearlog.lockout.cautions.steps import RELEASE
from wearlog.lockout.models import Isolation, Lock
from wearlog.people import audit, refs
from wearlog.people.models import User
from wearlog.people.refusals import NotAllowed, Refused
from wearlog.people.roles import Permission, allows, require
from wearlog.people.words import when
from wearlog.runs.readings import locked_press

Record = TypeVar("Record", Lock, Isolation)


@dataclass(frozen=True, kw_only=True)
class Person:
    """Somebody without an account: a contractor, a helper. The firm may be empty."""

    name: str
    firm: str = ""


def lock_words(lock: Lock) -> str:
    """`lock 7 of Berta on Main motor`."""
    return _("lock %(number)s of %(who)s on %(source)s") % {
        "number": lock.number,
        "who": lock.holder_name,
        "source": lock.source_name,
    }


def require_user(by: User | None) -> User:
    if by is None:
        raise NotAllowed(_("A lock is stated by a person. Sign in."))
    require(by, Permission.LOG)
    return by


def name_of_person(person: Person) -> str:
    name = " ".join(person.name.split())
    if not name:
        raise Refused(_("Write the person's name."), field="name")
    known = User.objects.filter(is_active=True).annotate(low=Lower("name"), low_user=Lower("username"))
    if known.filter(low=name.lower()).exists() or known.filter(low_user=name.lower()).exists():
        raise Refused(
            _("%(who)s has an account here and records their own lock.") % {"who": name}, field="name"
        )
    return name


def locked_lock(lock_id: int) -> Lock:
    """The lock as now stored, after locking its press's row."""
    found = Lock.objects.select_related("isolation").filter(pk=lock_id).first()
    if found is None:
        raise Refused(_("There is no such lock. Open the page again."))
    locked_press(found.isolation.press_id)
    fresh: Lock = Lock.objects.select_related("isolation__press").get(pk=lock_id)
    return fresh


def locked_isolation(isolation_id: int) -> Isolation:
    found = Isolation.objects.not_voided().filter(pk=isolation_id).first()
    if found is None:
        raise Refused(_("There is no such isolation. Open the page again."))
    locked_press(found.press_id)
    fresh: Isolation = Isolation.objects.get(pk=isolation_id)
    return fresh


def may_act_for(user: User, lock: Lock) -> bool:
    """Whether the person may make statements about the lock: it is their own, or that of somebody without an
    account whom they brought in (for a maintainer: of anybody without an account)."""
    if lock.holder_id is not None:
        return lock.is_of(user)
    return lock.entered_by_id == user.pk or allows(user, Permission.MAINTAIN)


def own_lock(by: User | None, lock_id: int) -> tuple[User, Lock]:
    user = require_user(by)
    lock = locked_lock(lock_id)
    if not may_act_for(user, lock):
        raise NotAllowed(
            _("%(lock)s: only %(who)s takes it off, hands it over or speaks for it.")
            % {"lock": lock_words(lock), "who": lock.holder_name}
        )
    return user, lock


def require_fitted(lock: Lock) -> None:
    if lock.voided_at is not None:
        raise Refused(_("This lock was crossed out of the record."))
    if lock.off_at is not None:
        raise Refused(
            _("%(lock)s: came off already, %(when)s, by %(who)s.")
            % {"lock": lock_words(lock), "when": when(lock.off_at), "who": lock.off_by_name}
        )


def one_press(locks: Sequence[Lock]) -> None:
    if len({lock.isolation_id for lock in locks}) > 1:
        raise Refused(_("These locks are on different presses. Take one press at a time."))


def fitted(isolation: Isolation) -> list[Lock]:
    return list(Lock.objects.fitted().filter(isolation=isolation))


def steps_before_the_last(locks: Sequence[Lock], stated: Collection[str]) -> None:
    left = {lock.pk for lock in fitted(locks[0].isolation)} - {lock.pk for lock in locks}
    if not left:
        require_steps(("look", "clear"), stated)


def require_steps(names: Sequence[str], stated: Collection[str]) -> None:
    missing = [str(step.clause) for step in RELEASE if step.name in names and step.name not in stated]
    if missing:
        raise Refused(
            _("First, and tick it when it is done: %(steps)s.") % {"steps": "; ".join(missing)},
            field="stated",
        )


def logged(user: User, at: datetime, record: Lock | Isolation) -> None:
    audit.write(at=at, by=user, action=refs.LOGGED, record=record, new=audit.snapshot(record))


def change(
    user: User, at: datetime, record: Record, *, action: str, why: str = "", **values: object
) -> Record:
    old = audit.snapshot(record)
    for name, value in values.items():
        setattr(record, name, value)
    record.save(update_fields=list(values))
    audit.write(at=at, by=user, action=action, record=record, old=old, new=audit.snapshot(record), reason=why)
    return record
