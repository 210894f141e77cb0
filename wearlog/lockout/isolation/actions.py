"""Recording locks put on and taken off, each by the person themself; handing over; ending an isolation.

Every action first locks the press's row. `by` is the person who makes the statement; the command line (None)
is refused, as it can't speak for a person. Only people's statements are stored; nothing is concluded from
them about the machine.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from django.db import transaction
from django.utils.translation import gettext as _

from wearlog.lockout.cautions.steps import RELEASE, before_restart
from wearlog.lockout.isolation.rules import (
    Person,
    change,
    fitted,
    lock_words,
    locked_isolation,
    locked_lock,
    logged,
    name_of_person,
    one_press,
    own_lock,
    require_fitted,
    require_steps,
    require_user,
    steps_before_the_last,
)
from wearlog.lockout.models import EnergySource, Isolation, Lock, Off
from wearlog.people import refs
from wearlog.people.cleaning import clean
from wearlog.people.models import User
from wearlog.people.refusals import Doubt, Doubtful, NotAllowed, Refused
from wearlog.people.roles import Permission, allows, require
from wearlog.people.words import when
from wearlog.runs.models import Run
from wearlog.runs.readings import locked_press


@dataclass(frozen=True, kw_only=True)
class NewLock:
    """A lock to record. Where its energy source is not recorded, `source_name` says what it is on."""

    number: str
    source_id: int | None = None
    source_name: str = ""
    place: str = ""
    verified_how: str = ""
    """How zero energy was verified; empty while it is not."""


@transaction.atomic
def fit_locks(
    *,
    by: User | None,
    at: datetime,
    press_id: int,
    locks: Sequence[NewLock],
    work: str = "",
    lead: str = "",
    person: Person | None = None,
    ref: str = "",
    confirmed: Collection[str] = (),
) -> list[Lock]:
    """Record locks that the person, or `person` without an account, has fitted. They join the isolation in
    progress at the press, or begin one (then `work` says what for, and `lead` who leads). Returns the locks.

    Idempotent by `ref`. Raises Doubtful `still-running` where a run of the press has not ended.
    """
    user = require_user(by)
    press = locked_press(press_id)
    isolation = Isolation.objects.not_voided().filter(press=press, ended_at__isnull=True).first()
    ref = ref or refs.new_ref(at)
    again = list(Lock.objects.filter(ref__startswith=f"{ref}-", entered_by=user))
    if again:  # a repeated request
        return again
    if not locks:
        raise Refused(_("No lock is named. Tick each source that you locked and write the lock's number."))
    running = Run.objects.running().filter(press=press).first()
    if running is not None and "still-running" not in confirmed:
        question = _("A run of %(press)s since %(since)s is not ended. Is the press shut down?")
        raise Doubtful(
            [Doubt("still-running", question % {"press": press, "since": when(running.started_at)})]
        )
    if isolation is None:
        if not work.strip():
            raise Refused(_("Write what the press is stopped for."), field="work")
        isolation = Isolation(
            ref=ref,
            press=press,
            work=work.strip(),
            lead=lead.strip() or str(user),
            begun_at=at,
            entered_at=at,
            entered_by=user,
        )
        clean(isolation, validate_unique=False)
        isolation.save()
        logged(user, at, isolation)
    return [
        _fit(user, at, isolation, given, ref=f"{ref}-{number}", person=person)
        for number, given in enumerate(locks, start=1)
    ]


def _fit(
    user: User,
    at: datetime,
    isolation: Isolation,
    given: NewLock,
    *,
    ref: str,
    person: Person | None,
    holder: User | None = None,
    follows: Lock | None = None,
) -> Lock:
    source = None
    if given.source_id is not None:
        source = EnergySource.objects.filter(pk=given.source_id, press_id=isolation.press_id).first()
        if source is None:
            raise Refused(_("There is no such energy source on this press. Open the page again."))
    named = source.source if source is not None else given.source_name.strip()
    if not named:
        raise Refused(_("Say what the lock is on."), field="source_name")
    if not given.number.strip():
        raise Refused(
            _("%(source)s: write the number on the lock.") % {"source": named},
            field=f"number-{given.source_id}",
        )
    owner = None if person is not None else holder or user
    name = name_of_person(person) if person is not None else str(owner)
    if any(lock.source_name == named and lock.holder_name == name for lock in fitted(isolation)):
        raise Refused(
            _("A lock of %(who)s is recorded on %(source)s already.") % {"who": name, "source": named}
        )
    lock = Lock(
        ref=ref,
        isolation=isolation,
        source=source,
        source_name=named,
        place=given.place.strip() or (source.isolate_at if source is not None else ""),
        number=given.number.strip(),
        holder=owner,
        holder_name=name,
        firm=person.firm.strip() if person is not None else "",
        fitted_at=at,
        verified_at=at if given.verified_how.strip() else None,
        verified_how=given.verified_how.strip(),
        follows=follows,
        entered_at=at,
        entered_by=user,
    )
    clean(lock, validate_unique=False, validate_constraints=False)
    lock.save()
    logged(user, at, lock)
    return lock


@transaction.atomic
def state_verified(*, by: User | None, at: datetime, lock_id: int, how: str) -> Lock:
    """Record how the person verified that the source is at zero energy. May be repeated: the last statement
    is shown, the audit trail keeps all."""
    user, lock = own_lock(by, lock_id)
    require_fitted(lock)
    if not how.strip():
        raise Refused(_("Write how you verified it: what you tried, and what happened."), field="how")
    return change(user, at, lock, action="verify", verified_at=at, verified_how=how.strip())


@transaction.atomic
def confirm(*, by: User | None, at: datetime, lock_id: int) -> Lock:
    """Record that the person to whom a lock was handed over states that their own lock is on."""
    user, lock = own_lock(by, lock_id)
    require_fitted(lock)
    if lock.follows_id is None:
        raise Refused(_("This lock was not handed over; there is nothing to confirm."))
    return change(user, at, lock, action="confirm", confirmed_at=at)


@transaction.atomic
def take_off(
    *,
    by: User | None,
    at: datetime,
    lock_ids: Sequence[int],
    for_a_test: bool = False,
    stated: Collection[str] = (),
) -> list[Lock]:
    """Record that the person took their own locks off. Before the last lock of the press they must state that
    the machine is whole and everybody stands clear (the steps `look` and `clear`)."""
    if not lock_ids:
        raise Refused(_("Tick the locks that you took off."), field="locks")
    user = require_user(by)
    locks = [own_lock(by, lock_id)[1] for lock_id in dict.fromkeys(lock_ids)]
    one_press(locks)
    for lock in locks:
        require_fitted(lock)
    steps_before_the_last(locks, stated)
    return [
        change(
            user,
            at,
            lock,
            action="take off",
            off_at=at,
            off_how=Off.TEST if for_a_test else Off.SELF,
            off_by=user,
            off_by_name=str(user),
        )
        for lock in locks
    ]


@transaction.atomic
def hand_over(
    *,
    by: User | None,
    at: datetime,
    numbers: Mapping[int, str],
    to: User | None = None,
    person: Person | None = None,
) -> list[Lock]:
    """End the locks of `by` and begin those of the other person in one step, without a gap.

    `numbers` maps the id of each of the person's locks to the number of the other's lock, which is on before
    the old one comes off. The other (`to`, or `person` without an account) verifies anew and confirms.
    """
    user = require_user(by)
    if (to is None) == (person is None):
        raise Refused(_("Say to whom you hand over."), field="to")
    if to is not None and not allows(to, Permission.LOG):
        raise Refused(
            _("%(who)s may not log, so can't keep a lock here. Ask the owner for that role.") % {"who": to},
            field="to",
        )
    if not numbers:
        raise Refused(_("Tick the locks that you hand over."), field="locks")
    locks = [own_lock(by, lock_id)[1] for lock_id in numbers]
    one_press(locks)
    begun = []
    for lock in locks:
        require_fitted(lock)
        if lock.is_of(to):
            raise Refused(_("A lock is handed over to somebody else. Choose that person."), field="to")
        old = change(
            user,
            at,
            lock,
            action="hand over",
            off_at=at,
            off_how=Off.HANDED_OVER,
            off_by=user,
            off_by_name=str(user),
        )
        given = NewLock(
            number=numbers[lock.pk], source_id=lock.source_id, source_name=lock.source_name, place=lock.place
        )
        begun.append(
            _fit(
                user,
                at,
                lock.isolation,
                given,
                ref=refs.new_ref(at),
                person=person,
                holder=to,
                follows=old,
            )
        )
    return begun


@transaction.atomic
def take_off_for_another(
    *,
    by: User | None,
    at: datetime,
    lock_id: int,
    reason: str,
    not_here: str,
    contact: str,
    stated: Collection[str] = (),
) -> Lock:
    """Record the narrow exception: the owner took off the lock of somebody who is not on the premises.

    `reason` says why it can't wait, `not_here` how it was verified that the person is not there, `contact`
    how they were reached or what was tried. They must be told before they work here again (`record_told`).
    """
    user = require_user(by)
    require(user, Permission.OWN)
    lock = locked_lock(lock_id)
    if lock.is_of(user):
        raise Refused(_("This is your own lock. Take it off as such."))
    require_fitted(lock)
    for name, text, ask in (
        ("reason", reason, _("Write why it can't wait for the person.")),
        ("not_here", not_here, _("Write how you made sure that the person is not on the premises.")),
        ("contact", contact, _("Write how you reached the person, or what you tried.")),
    ):
        if not text.strip():
            raise Refused(ask, field=name)
    require_steps(("look", "clear"), stated)
    return change(
        user,
        at,
        lock,
        action="take off for another",
        why=reason.strip(),
        off_at=at,
        off_how=Off.FOR_ANOTHER,
        off_by=user,
        off_by_name=str(user),
        reason=reason.strip(),
        not_here=not_here.strip(),
        contact=contact.strip(),
    )


@transaction.atomic
def record_told(*, by: User | None, at: datetime, lock_id: int) -> Lock:
    """Record that the person was told that their lock was taken off, as they or a maintainer state."""
    user = require_user(by)
    lock = locked_lock(lock_id)
    if not lock.is_of(user) and not allows(user, Permission.MAINTAIN):
        raise NotAllowed(_("That is for the person themself, or for a maintainer who told them."))
    if not lock.must_be_told:
        raise Refused(_("Nobody needs to be told about this lock any more."))
    return change(user, at, lock, action="tell", told_at=at, told_by_name=str(user))


@transaction.atomic
def end(*, by: User | None, at: datetime, isolation_id: int, stated: Collection[str]) -> Isolation:
    """End the isolation. No lock may still be recorded as being on, and the person must state every step
    before a restart. Until then the press counts as stopped for work."""
    user = require_user(by)
    isolation = locked_isolation(isolation_id)
    if isolation.ended_at is not None:
        raise Refused(
            _("%(who)s ended this already, %(when)s.")
            % {"who": isolation.ended_by_name, "when": when(isolation.ended_at)}
        )
    on = fitted(isolation)
    if on:
        raise Refused(
            _("Still recorded as being on: %(locks)s. Each comes off by whoever fitted it.")
            % {"locks": "; ".join(lock_words(lock) for lock in on)}
        )
    require_steps([step.name for step in RELEASE], stated)
    return change(
        user,
        at,
        isolation,
        action="end",
        ended_at=at,
        ended_by=user,
        ended_by_name=str(user),
        stated=before_restart(),
    )
