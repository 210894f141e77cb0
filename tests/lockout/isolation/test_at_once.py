"""Two phones at one press at the same moment, with real threads on a real database."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest

from tests.at_once import ROUNDS, at_once
from tests.dates import at
from wearlog.equipment.models import Press
from wearlog.lockout.isolation.actions import NewLock
from wearlog.lockout.models import EnergySource, Isolation, Lock
from wearlog.logbook import actions, lockouts
from wearlog.logbook.entries import NewWork
from wearlog.people.models import AuditEntry, Mill, Role, User
from wearlog.people.refusals import Refused
from wearlog.service.models import Service

pytestmark = pytest.mark.django_db(transaction=True)

NOW = at("2026-03-10 08:00")
STEPS = ("look", "clear", "unlock", "tell")


class Two:
    """Anna and Ben at a press with one switch."""

    def __init__(self) -> None:
        Mill.objects.create(name="Mill", time_zone="Europe/Vienna")
        self.anna = User.objects.create_user("anna", name="Anna", role=Role.OPERATOR)
        self.ben = User.objects.create_user("ben", name="Ben", role=Role.OPERATOR)
        self.press = Press.objects.create(code="P1")
        self.motor = EnergySource.objects.create(press=self.press, source="Main motor", kind="electrical")

    def fit(self, by: User, minute: int) -> list[Lock]:
        lock = NewLock(number=f"{by}'s", source_id=self.motor.pk)
        return lockouts.fit_locks(
            by=by, at=NOW + timedelta(minutes=minute), press_id=self.press.pk, work="work", locks=[lock]
        )

    def off(self, by: User, lock: Lock, minute: int) -> list[Lock]:
        moment = NOW + timedelta(minutes=minute)
        return lockouts.take_off(by=by, at=moment, lock_ids=[lock.pk], stated=STEPS)


@pytest.fixture
def two(shared: None) -> Two:
    return Two()


def kinds(results: list[Any]) -> list[str]:
    return ["refused" if isinstance(result, Refused) else type(result).__name__ for result in results]


def test_two_first_locks_at_once_are_one_isolation(two: Two) -> None:
    for turn in range(ROUNDS):
        minute = 10 * turn
        results = at_once(lambda m=minute: two.fit(two.anna, m), lambda m=minute: two.fit(two.ben, m))
        assert kinds(results) == ["list", "list"], results
        isolation = Isolation.objects.get(ended_at__isnull=True)
        assert isolation.locks.count() == 2
        for (lock,) in results:
            two.off(lock.holder, lock, minute + 1)
        moment = NOW + timedelta(minutes=minute + 2)
        lockouts.end_isolation(by=two.anna, at=moment, isolation_id=isolation.pk, stated=STEPS)


def test_an_isolation_is_not_ended_while_somebody_puts_a_lock_on(two: Two) -> None:
    for turn in range(ROUNDS):
        minute = 10 * turn
        (lock,) = two.fit(two.anna, minute)
        two.off(two.anna, lock, minute + 1)
        ending = lock.isolation_id
        moment = NOW + timedelta(minutes=minute + 2)
        ended, fitted = at_once(
            lambda m=moment, pk=ending: lockouts.end_isolation(
                by=two.anna, at=m, isolation_id=pk, stated=STEPS
            ),
            lambda m=minute: two.fit(two.ben, m + 2),
        )
        assert kinds([fitted]) == ["list"], fitted
        assert not Lock.objects.fitted().filter(isolation__ended_at__isnull=False).exists()
        # Either the lock was first and the end is refused, or a new isolation began with it.
        assert (fitted[0].isolation_id == ending) == isinstance(ended, Refused)
        two.off(two.ben, fitted[0], minute + 3)
        lockouts.end_isolation(
            by=two.ben,
            at=NOW + timedelta(minutes=minute + 4),
            isolation_id=fitted[0].isolation_id,
            stated=STEPS,
        )


def test_a_lock_is_handed_over_or_taken_off_and_never_both(two: Two) -> None:
    (lock,) = two.fit(two.anna, 0)
    moment = NOW + timedelta(minutes=1)
    results = at_once(
        lambda: lockouts.hand_over(by=two.anna, at=moment, numbers={lock.pk: "9"}, to=two.ben),
        lambda: two.off(two.anna, lock, 1),
    )
    assert sorted(kinds(results)) == ["list", "refused"], results
    lock.refresh_from_db()
    assert Lock.objects.fitted().filter(holder=two.ben).exists() == (lock.off_how == "handed-over")


def test_work_that_races_a_lock_is_logged_before_it_or_not_at_all(two: Two) -> None:
    for turn in range(ROUNDS):
        minute = 10 * turn
        entry = NewWork(
            press_id=two.press.pk, action="clean", done_at=NOW + timedelta(minutes=minute + 5), ref=f"w{turn}"
        )
        worked, fitted = at_once(
            lambda e=entry, m=minute: actions.log_work(
                by=two.ben, at=NOW + timedelta(minutes=m + 6), entry=e
            ),
            lambda m=minute: two.fit(two.anna, m),
        )
        assert kinds([fitted]) == ["list"], fitted
        logged = Service.objects.filter(ref=f"w{turn}").exists()
        assert logged != isinstance(worked, Refused)
        trail = list(
            AuditEntry.objects.filter(record__in=("service", "lock"), action="log")
            .order_by("-pk")
            .values_list("record", flat=True)[: 1 + logged]
        )
        assert trail == (["lock", "service"] if logged else ["lock"]), "the work was first, or refused"
        two.off(two.anna, fitted[0], minute + 7)
        lockouts.end_isolation(
            by=two.anna,
            at=NOW + timedelta(minutes=minute + 8),
            isolation_id=fitted[0].isolation_id,
            stated=STEPS,
        )
