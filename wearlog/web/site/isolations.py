"""Open isolations for pages: whose locks are on, and which concern the reader."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import dataclass

from django.utils.translation import gettext as _

from wearlog.equipment.models import Press
from wearlog.lockout.isolation.queries import fitted_locks, off_for_a_test, open_isolations
from wearlog.lockout.isolation.rules import may_act_for
from wearlog.lockout.models import Isolation, Lock
from wearlog.people.models import User


@dataclass(frozen=True)
class OpenIsolation:
    """An isolation in progress, with the locks that are recorded as being on, and those of them that are the
    reader's."""

    isolation: Isolation
    locks: list[Lock]
    own: list[Lock]
    testing: list[Lock]

    @property
    def press(self) -> Press:
        return self.isolation.press

    @property
    def others(self) -> list[Lock]:
        return [lock for lock in self.locks if lock not in self.own]

    @property
    def names(self) -> str:
        """`Anna, Ben`: the people with a lock on, each once."""
        return ", ".join(dict.fromkeys(lock.holder_name for lock in self.locks))

    @property
    def other_names(self) -> str:
        return ", ".join(dict.fromkeys(lock.holder_name for lock in self.others))

    @property
    def to_confirm(self) -> list[Lock]:
        """Locks handed over to the reader, who has not confirmed yet that their own lock is on."""
        return [lock for lock in self.own if lock.follows_id is not None and lock.confirmed_at is None]


def with_locks(isolations: Iterable[Isolation], user: User) -> list[OpenIsolation]:
    return [
        OpenIsolation(
            isolation=isolation,
            locks=(locks := fitted_locks(isolation)),
            own=[lock for lock in locks if lock.is_of(user)],
            testing=off_for_a_test(isolation),
        )
        for isolation in isolations
    ]


def open_at(user: User, press_ids: Collection[int] | None = None) -> list[OpenIsolation]:
    """The isolations in progress (at these presses; None: at all); two queries."""
    return with_locks(open_isolations(press_ids), user)


def locks_acted_for(user: User, locks: Iterable[Lock]) -> list[Lock]:
    """The locks about which the reader may make statements: their own, and those of people without an
    account."""
    return [lock for lock in locks if may_act_for(user, lock)]


def lock_label(lock: Lock) -> str:
    """`Main motor: lock 7, Emil Exempel (Wires and more)`."""
    who = f"{lock.holder_name} ({lock.firm})" if lock.firm else lock.holder_name
    return _("%(source)s: lock %(number)s, %(who)s") % {
        "source": lock.source_name,
        "number": lock.number,
        "who": who,
    }
