"""The door for what `lockout` keeps: energy sources in one go, wordings of cautions, isolation records."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from datetime import datetime

from wearlog.lockout.cautions import actions as wording_actions
from wearlog.lockout.isolation import actions as isolations
from wearlog.lockout.isolation import corrections as isolation_corrections
from wearlog.lockout.isolation.actions import NewLock
from wearlog.lockout.isolation.rules import Person
from wearlog.lockout.models import CautionWording, EnergySource, Isolation, Lock
from wearlog.lockout.yearly import looks as yearly
from wearlog.logbook import things
from wearlog.logbook.door import enter
from wearlog.people.models import User
from wearlog.service.models import Rule, Service


def record_sources(*, by: User | None, at: datetime, sources: Sequence[EnergySource]) -> list[EnergySource]:
    """Record several energy sources: all of them, or none where one is refused."""
    return enter(lambda: [things.save_thing(by=by, at=at, thing=source) for source in sources])


def set_wording(
    *,
    by: User | None,
    at: datetime,
    hazard: str,
    press_id: int | None = None,
    instead: str = "",
    added: str = "",
    word: str = "",
    reason: str,
    seen: int | None = None,
) -> CautionWording:
    """Add a version of the words for a hazard; every caution that is shown from now on has them."""
    return enter(
        lambda: wording_actions.set_wording(
            by=by,
            at=at,
            hazard=hazard,
            press_id=press_id,
            instead=instead,
            added=added,
            word=word,
            reason=reason,
            seen=seen,
        )
    )


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
    """Record locks that were fitted, one's own or those of a person without an account."""
    return enter(
        lambda: isolations.fit_locks(
            by=by,
            at=at,
            press_id=press_id,
            locks=locks,
            work=work,
            lead=lead,
            person=person,
            ref=ref,
            confirmed=confirmed,
        )
    )


def state_verified(*, by: User | None, at: datetime, lock_id: int, how: str) -> Lock:
    """Keep how the person verified that the source is at zero."""
    return enter(lambda: isolations.state_verified(by=by, at=at, lock_id=lock_id, how=how))


def confirm_lock(*, by: User | None, at: datetime, lock_id: int) -> Lock:
    """The person to whom a lock was handed over says that their own is on."""
    return enter(lambda: isolations.confirm(by=by, at=at, lock_id=lock_id))


def take_off(
    *,
    by: User | None,
    at: datetime,
    lock_ids: Sequence[int],
    for_a_test: bool = False,
    stated: Collection[str] = (),
) -> list[Lock]:
    """Record that the person took their own locks off."""
    return enter(
        lambda: isolations.take_off(by=by, at=at, lock_ids=lock_ids, for_a_test=for_a_test, stated=stated)
    )


def hand_over(
    *,
    by: User | None,
    at: datetime,
    numbers: Mapping[int, str],
    to: User | None = None,
    person: Person | None = None,
) -> list[Lock]:
    """End the person's locks and begin the other's, in one step without a gap."""
    return enter(lambda: isolations.hand_over(by=by, at=at, numbers=numbers, to=to, person=person))


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
    """The owner takes off the lock of somebody who is not on the premises."""
    return enter(
        lambda: isolations.take_off_for_another(
            by=by, at=at, lock_id=lock_id, reason=reason, not_here=not_here, contact=contact, stated=stated
        )
    )


def tell(*, by: User | None, at: datetime, lock_id: int) -> Lock:
    """Keep that somebody was told that their lock was taken off."""
    return enter(lambda: isolations.tell(by=by, at=at, lock_id=lock_id))


def end_isolation(*, by: User | None, at: datetime, isolation_id: int, stated: Collection[str]) -> Isolation:
    """End an isolation on which no lock is recorded any more."""
    return enter(lambda: isolations.end(by=by, at=at, isolation_id=isolation_id, stated=stated))


def correct_lock(
    *, by: User | None, at: datetime, lock_id: int, number: str, place: str, firm: str, reason: str
) -> Lock:
    """Correct the number, the place or the firm of a lock."""
    return enter(
        lambda: isolation_corrections.correct_lock(
            by=by, at=at, lock_id=lock_id, number=number, place=place, firm=firm, reason=reason
        )
    )


def strike_out_lock(*, by: User | None, at: datetime, lock_id: int, reason: str) -> Lock:
    """Strike out a lock that the person recorded by mistake."""
    return enter(lambda: isolation_corrections.strike_out_lock(by=by, at=at, lock_id=lock_id, reason=reason))


def make_yearly_rules(*, by: User | None, at: datetime) -> list[Rule]:
    """Add the rules of the yearly looks that are missing."""
    return enter(lambda: yearly.make_rules(by=by, at=at))


def record_yearly_look(
    *,
    by: User | None,
    at: datetime,
    kind: str,
    press_ids: Sequence[int],
    done_at: datetime,
    looked_by: str,
    people: Sequence[User],
    others: str = "",
    finding: str = "",
) -> list[Service]:
    """Keep that procedures were looked at, or people instructed. It is no work inside a press, so that locks
    of others, which the look is about, don't hold it up."""
    return enter(
        lambda: yearly.record_look(
            by=by,
            at=at,
            kind=kind,
            press_ids=press_ids,
            done_at=done_at,
            looked_by=looked_by,
            people=people,
            others=others,
            finding=finding,
        )
    )
