"""Who put which lock where: each person their own, handed over, taken off, and what that holds up."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.db import IntegrityError, transaction
from django.db.models import ProtectedError

from tests.dates import at
from wearlog.equipment.models import Fitting, Part, PartType, Position, Press
from wearlog.lockout.isolation.actions import NewLock
from wearlog.lockout.isolation.closing import StillLocked
from wearlog.lockout.isolation.queries import (
    bare_sources,
    concerning,
    fitted_locks,
    off_for_a_test,
    open_isolation,
    to_be_told,
)
from wearlog.lockout.isolation.rules import Person
from wearlog.lockout.models import EnergySource, Isolation, Lock
from wearlog.logbook import actions, lockouts
from wearlog.logbook.entries import NewCropChange, NewRun, NewWork
from wearlog.logbook.sheets import SheetNotTaken
from wearlog.people.models import AuditEntry, Role, User
from wearlog.people.refusals import Doubtful, NotAllowed, Refused
from wearlog.runs.models import Crop, Run
from wearlog.service.models import Service

NOW = at("2026-03-10 08:00")
STEPS = ("look", "clear", "unlock", "tell")
LOOKED = ("look", "clear")


def later(minutes: int) -> Any:
    return NOW + timedelta(minutes=minutes)


class Scene:
    """A press with two switches and trapped pressure, Anna and Ben who log, Olga who owns."""

    def __init__(self, owner: User) -> None:
        self.olga = owner
        self.anna = User.objects.create_user("anna", name="Anna", role=Role.OPERATOR)
        self.ben = User.objects.create_user("ben", name="Ben", role=Role.MAINTAINER)
        self.press = Press.objects.create(code="P1", name="North press")
        self.motor = self.source("Main motor", "electrical", "Q1")
        self.heater = self.source("Heater", "electrical", "F7")
        self.plug = self.source("Pressure behind the die", "pressure", "")
        kind = PartType.objects.create(code="die", kind="die", edges=2)
        self.die = Part.objects.create(code="D-1", part_type=kind)
        self.spare = Part.objects.create(code="D-2", part_type=kind)
        self.place = Position.objects.create(press=self.press, name="die", kind="die")
        self.fitting = Fitting.objects.create(
            part=self.die, edge="A", position=self.place, fitted_at=NOW - timedelta(days=9)
        )

    def source(self, name: str, kind: str, place: str) -> EnergySource:
        return EnergySource.objects.create(press=self.press, source=name, kind=kind, isolate_at=place)

    def lock(self, by: User, source: EnergySource, number: str = "7", **how: Any) -> Lock:
        given = {"at": NOW, "work": "flip the die", "press_id": self.press.pk, **how}
        (lock,) = lockouts.fit_locks(by=by, locks=[NewLock(number=number, source_id=source.pk)], **given)
        return lock

    def work(self, by: User | None, done_at: Any = None, **fields: Any) -> Service:
        confirmed = fields.pop("confirmed", ())
        entry = NewWork(press_id=self.press.pk, action="clean", done_at=done_at or later(30), **fields)
        return actions.log_work(by=by, at=later(31), entry=entry, confirmed=confirmed)

    @property
    def isolation(self) -> Isolation:
        found = open_isolation(self.press.pk)
        assert found is not None
        return found


@pytest.fixture
def scene(owner: User) -> Scene:
    return Scene(owner)


# -------- putting on


def test_the_first_lock_begins_an_isolation_and_the_next_person_joins_it(scene: Scene) -> None:
    scene.lock(scene.anna, scene.motor)
    scene.lock(scene.ben, scene.motor, "21", work="", at=later(5))
    assert Isolation.objects.count() == 1
    assert (scene.isolation.work, scene.isolation.lead) == ("flip the die", "Anna")
    assert [(lock.holder_name, lock.number, lock.place) for lock in fitted_locks(scene.isolation)] == [
        ("Anna", "7", "Q1"),
        ("Ben", "21", "Q1"),
    ]


def test_a_switch_without_a_lock_is_named_and_trapped_pressure_is_not(scene: Scene) -> None:
    scene.lock(scene.anna, scene.motor)
    assert bare_sources(scene.isolation) == [scene.heater]


def test_each_act_has_one_row_in_the_trail(scene: Scene) -> None:
    lock = scene.lock(scene.anna, scene.motor)
    lockouts.state_verified(by=scene.anna, at=later(1), lock_id=lock.pk, how="pressed start, nothing")
    lockouts.take_off(by=scene.anna, at=later(9), lock_ids=[lock.pk], stated=LOOKED)
    lockouts.end_isolation(by=scene.anna, at=later(10), isolation_id=scene.isolation.pk, stated=STEPS)
    told = AuditEntry.objects.filter(record__in=("lock", "isolation")).order_by("pk")
    assert [(row.record, row.action, row.by_name) for row in told] == [
        ("isolation", "log", "Anna"),
        ("lock", "log", "Anna"),
        ("lock", "verify", "Anna"),
        ("lock", "take off", "Anna"),
        ("isolation", "end", "Anna"),
    ]


def test_the_command_line_states_nothing_for_a_person(scene: Scene) -> None:
    with pytest.raises(NotAllowed, match="stated by a person"):
        scene.lock(None, scene.motor)  # type: ignore[arg-type]


def test_a_viewer_puts_no_lock_on(scene: Scene) -> None:
    viewer = User.objects.create_user("vera", role=Role.VIEWER)
    with pytest.raises(NotAllowed):
        scene.lock(viewer, scene.motor)


@pytest.mark.parametrize(
    ("how", "words", "field"),
    [
        ({"work": " "}, "what the press is stopped for", "work"),
        ({"number": " "}, "Main motor: write the number on the lock", "number-"),
    ],
)
def test_what_is_missing_is_asked_for_at_its_field(
    scene: Scene, how: dict[str, Any], words: str, field: str
) -> None:
    with pytest.raises(Refused, match=words) as refusal:
        scene.lock(scene.anna, scene.motor, **how)
    assert refusal.value.field.startswith(field)
    assert not Isolation.objects.exists()


def test_one_person_has_one_lock_on_a_source(scene: Scene) -> None:
    scene.lock(scene.anna, scene.motor)
    with pytest.raises(Refused, match="A lock of Anna is recorded on Main motor already"):
        scene.lock(scene.anna, scene.motor, "8")


def test_the_same_page_sent_twice_is_one_lock(scene: Scene) -> None:
    first = scene.lock(scene.anna, scene.motor, ref="p-1")
    again = scene.lock(scene.anna, scene.motor, ref="p-1", at=later(1))
    assert (first, Lock.objects.count()) == (again, 1)


def test_a_source_of_another_press_is_refused(scene: Scene) -> None:
    other = Press.objects.create(code="P2")
    strange = EnergySource.objects.create(press=other, source="Main motor", kind="electrical")
    with pytest.raises(Refused, match="no such energy source on this press"):
        scene.lock(scene.anna, strange)


def test_a_press_without_recorded_sources_takes_a_lock_by_its_words(scene: Scene) -> None:
    (lock,) = lockouts.fit_locks(
        by=scene.anna,
        at=NOW,
        press_id=Press.objects.create(code="P3").pk,
        work="look",
        locks=[NewLock(number="7", source_name="The switch behind the hopper")],
    )
    assert lock.source_name == "The switch behind the hopper"


def test_a_run_that_goes_on_is_asked_about(scene: Scene) -> None:
    crop = Crop.objects.create(code="rape")
    Run.objects.create(ref="r", press=scene.press, crop=crop, started_at=NOW - timedelta(hours=2), seed_kg=0)
    with pytest.raises(Doubtful, match="Is the press shut down"):
        scene.lock(scene.anna, scene.motor)
    assert scene.lock(scene.anna, scene.motor, confirmed=["still-running"]).is_fitted


def test_somebody_without_an_account_is_recorded_by_name_and_firm(scene: Scene) -> None:
    lock = scene.lock(scene.anna, scene.heater, person=Person(name="Emil Exempel", firm="Wires and more"))
    assert (lock.holder, lock.holder_name, lock.firm) == (None, "Emil Exempel", "Wires and more")


@pytest.mark.parametrize("name", ["Ben", " ben ", "BEN"])
def test_nobody_records_the_lock_of_a_person_who_has_an_account(scene: Scene, name: str) -> None:
    with pytest.raises(Refused, match="has an account here and records their own lock"):
        scene.lock(scene.anna, scene.heater, person=Person(name=name))


# -------- taking off


def test_nobody_takes_off_the_lock_of_somebody_else(scene: Scene) -> None:
    lock = scene.lock(scene.anna, scene.motor)
    for other in (scene.ben, scene.olga):
        with pytest.raises(NotAllowed, match="only Anna takes it off"):
            lockouts.take_off(by=other, at=later(1), lock_ids=[lock.pk], stated=LOOKED)
        with pytest.raises(NotAllowed, match="only Anna"):
            lockouts.hand_over(by=other, at=later(1), numbers={lock.pk: "3"}, to=scene.ben)
        with pytest.raises(NotAllowed, match="only Anna"):
            lockouts.strike_out_lock(by=other, at=later(1), lock_id=lock.pk, reason="wrong")
        with pytest.raises(NotAllowed, match="only Anna"):
            lockouts.state_verified(by=other, at=later(1), lock_id=lock.pk, how="tried")
    lock.refresh_from_db()
    assert lock.is_fitted


def test_with_the_last_lock_the_machine_is_stated_whole_and_people_clear(scene: Scene) -> None:
    first, second = scene.lock(scene.anna, scene.motor), scene.lock(scene.ben, scene.motor, "21")
    lockouts.take_off(by=scene.anna, at=later(1), lock_ids=[first.pk])
    with pytest.raises(Refused, match="take all tools out and see that the machine is whole"):
        lockouts.take_off(by=scene.ben, at=later(2), lock_ids=[second.pk], stated=["clear"])
    (off,) = lockouts.take_off(by=scene.ben, at=later(2), lock_ids=[second.pk], stated=LOOKED)
    assert (off.off_at, off.off_how, off.off_by_name) == (later(2), "self", "Ben")


def test_who_brought_a_contractor_or_a_maintainer_records_that_they_took_their_lock_off(scene: Scene) -> None:
    lock = scene.lock(scene.anna, scene.heater, person=Person(name="Emil Exempel"))
    carla = User.objects.create_user("carla", name="Carla", role=Role.OPERATOR)
    with pytest.raises(NotAllowed, match="only Emil Exempel"):
        lockouts.take_off(by=carla, at=later(1), lock_ids=[lock.pk], stated=LOOKED)
    (off,) = lockouts.take_off(by=scene.anna, at=later(1), lock_ids=[lock.pk], stated=LOOKED)
    assert (off.holder_name, off.off_by_name) == ("Emil Exempel", "Anna")


def test_a_lock_comes_off_once(scene: Scene) -> None:
    lock = scene.lock(scene.anna, scene.motor)
    lockouts.take_off(by=scene.anna, at=later(1), lock_ids=[lock.pk], stated=LOOKED)
    with pytest.raises(Refused, match=r"came off already, 10 March 2026, 09:01, by Anna"):
        lockouts.take_off(by=scene.anna, at=later(2), lock_ids=[lock.pk], stated=LOOKED)


def test_a_test_under_power_is_seen_until_the_lock_is_on_again(scene: Scene) -> None:
    lock = scene.lock(scene.anna, scene.motor)
    with pytest.raises(Refused, match="everybody stands clear"):
        lockouts.take_off(by=scene.anna, at=later(1), lock_ids=[lock.pk], for_a_test=True)
    lockouts.take_off(by=scene.anna, at=later(1), lock_ids=[lock.pk], for_a_test=True, stated=LOOKED)
    assert off_for_a_test(scene.isolation) == [lock]
    scene.lock(scene.anna, scene.motor, at=later(5), work="")
    assert off_for_a_test(scene.isolation) == []
    assert [each.number for each in fitted_locks(scene.isolation)] == ["7"]


# -------- handing over


def test_a_hand_over_is_one_step_without_a_gap_and_names_both(scene: Scene) -> None:
    old = scene.lock(scene.anna, scene.motor)
    (new,) = lockouts.hand_over(by=scene.anna, at=later(60), numbers={old.pk: "21"}, to=scene.ben)
    old.refresh_from_db()
    assert (old.off_at, old.off_how, old.off_by_name) == (later(60), "handed-over", "Anna")
    assert (new.fitted_at, new.holder_name, new.number, new.follows) == (later(60), "Ben", "21", old)
    assert new.verified_at is None, "who comes verifies anew"
    assert new.confirmed_at is None
    confirmed = lockouts.confirm_lock(by=scene.ben, at=later(61), lock_id=new.pk)
    assert confirmed.confirmed_at == later(61)
    with pytest.raises(NotAllowed):
        lockouts.take_off(by=scene.anna, at=later(62), lock_ids=[new.pk], stated=LOOKED)


def test_a_hand_over_that_is_refused_leaves_the_old_lock_on(scene: Scene) -> None:
    first, second = scene.lock(scene.anna, scene.motor), scene.lock(scene.anna, scene.heater, "8")
    scene.lock(scene.ben, scene.heater, "21")
    with pytest.raises(Refused, match="A lock of Ben is recorded on Heater already"):
        lockouts.hand_over(
            by=scene.anna, at=later(1), numbers={first.pk: "22", second.pk: "23"}, to=scene.ben
        )
    assert Lock.objects.fitted().filter(holder=scene.anna).count() == 2


@pytest.mark.parametrize(
    ("to", "words"),
    [("anna", "handed over to somebody else"), ("vera", "may not log"), (None, "Say to whom")],
)
def test_a_hand_over_goes_to_somebody_else_who_can_keep_it(scene: Scene, to: str | None, words: str) -> None:
    User.objects.create_user("vera", name="Vera", role=Role.VIEWER)
    lock = scene.lock(scene.anna, scene.motor)
    with pytest.raises(Refused, match=words):
        lockouts.hand_over(
            by=scene.anna,
            at=later(1),
            numbers={lock.pk: "3"},
            to=User.objects.get(username=to) if to else None,
        )


def test_only_a_lock_that_was_handed_over_is_confirmed(scene: Scene) -> None:
    lock = scene.lock(scene.anna, scene.motor)
    with pytest.raises(Refused, match="not handed over"):
        lockouts.confirm_lock(by=scene.anna, at=later(1), lock_id=lock.pk)


# -------- for somebody who is not there

EXCEPTION = {"reason": "press needed", "not_here": "went through all rooms", "contact": "phoned at 17:05"}


def test_the_owner_takes_off_a_forgotten_lock_with_its_reasons_and_the_person_is_to_be_told(
    scene: Scene,
) -> None:
    lock = scene.lock(scene.anna, scene.motor)
    off = lockouts.take_off_for_another(
        by=scene.olga, at=later(500), lock_id=lock.pk, stated=LOOKED, **EXCEPTION
    )
    assert (off.off_how, off.off_by_name, off.contact) == ("for-another", "Olga", "phoned at 17:05")
    assert to_be_told(scene.press.pk) == [lock]
    assert concerning(scene.anna)[1] == [lock]
    assert concerning(scene.ben)[1] == []
    row = AuditEntry.objects.get(record="lock", action="take off for another")
    assert row.reason == "press needed"
    with pytest.raises(NotAllowed, match="for the person themself"):
        lockouts.record_told(
            by=User.objects.create_user("carla", role=Role.OPERATOR), at=later(501), lock_id=lock.pk
        )
    told = lockouts.record_told(by=scene.anna, at=later(900), lock_id=lock.pk)
    assert (told.told_at, told.told_by_name) == (later(900), "Anna")
    assert to_be_told(scene.press.pk) == []
    assert concerning(scene.anna)[1] == []


@pytest.mark.parametrize("missing", sorted(EXCEPTION))
def test_each_element_of_the_exception_is_asked_for(scene: Scene, missing: str) -> None:
    lock = scene.lock(scene.anna, scene.motor)
    with pytest.raises(Refused, match="Write") as refusal:
        lockouts.take_off_for_another(
            by=scene.olga, at=later(1), lock_id=lock.pk, stated=LOOKED, **{**EXCEPTION, missing: " "}
        )
    assert refusal.value.field == missing


def test_the_exception_is_the_owners_and_not_for_ones_own_lock(scene: Scene) -> None:
    lock = scene.lock(scene.anna, scene.motor)
    with pytest.raises(NotAllowed):
        lockouts.take_off_for_another(by=scene.ben, at=later(1), lock_id=lock.pk, stated=LOOKED, **EXCEPTION)
    with pytest.raises(Refused, match="First, and tick it when it is done"):
        lockouts.take_off_for_another(by=scene.olga, at=later(1), lock_id=lock.pk, **EXCEPTION)
    own = scene.lock(scene.olga, scene.heater)
    with pytest.raises(Refused, match="your own lock"):
        lockouts.take_off_for_another(by=scene.olga, at=later(1), lock_id=own.pk, stated=LOOKED, **EXCEPTION)


# -------- the end


def test_an_isolation_ends_without_locks_and_with_every_step_stated(scene: Scene) -> None:
    lock = scene.lock(scene.anna, scene.motor)
    isolation = scene.isolation
    with pytest.raises(Refused, match="Still recorded as being on: lock 7 of Anna on Main motor"):
        lockouts.end_isolation(by=scene.ben, at=later(1), isolation_id=isolation.pk, stated=STEPS)
    lockouts.take_off(by=scene.anna, at=later(2), lock_ids=[lock.pk], stated=LOOKED)
    with pytest.raises(Refused, match="tell everybody concerned"):
        lockouts.end_isolation(by=scene.ben, at=later(3), isolation_id=isolation.pk, stated=STEPS[:3])
    ended = lockouts.end_isolation(by=scene.ben, at=later(3), isolation_id=isolation.pk, stated=STEPS)
    assert (ended.ended_by_name, ended.ended_at) == ("Ben", later(3))
    assert "whoever fitted a lock takes it off" in ended.stated
    with pytest.raises(Refused, match="Ben ended this already"):
        lockouts.end_isolation(by=scene.ben, at=later(4), isolation_id=isolation.pk, stated=STEPS)


def test_a_press_has_one_open_isolation_in_the_database_too(scene: Scene) -> None:
    scene.lock(scene.anna, scene.motor)
    with pytest.raises(IntegrityError), transaction.atomic():
        Isolation.objects.create(ref="x", press=scene.press, work="w", lead="l", begun_at=NOW)


def test_the_database_lets_nobody_take_off_a_lock_in_somebody_elses_name(scene: Scene) -> None:
    lock = scene.lock(scene.anna, scene.motor)
    with pytest.raises(IntegrityError), transaction.atomic():
        Lock.objects.filter(pk=lock.pk).update(
            off_at=later(1), off_how="self", off_by=scene.ben, off_by_name="Ben"
        )


def test_the_database_ends_no_isolation_with_a_lock_on_and_takes_no_lock_on_an_ended_one(
    scene: Scene,
) -> None:
    lock = scene.lock(scene.anna, scene.motor)
    isolation = scene.isolation
    ended = {"ended_at": later(9), "ended_by_name": "Ben", "stated": "steps"}
    with pytest.raises(IntegrityError), transaction.atomic():
        Isolation.objects.filter(pk=isolation.pk).update(**ended)
    lockouts.take_off(by=scene.anna, at=later(2), lock_ids=[lock.pk], stated=LOOKED)
    Isolation.objects.filter(pk=isolation.pk).update(**ended)
    with pytest.raises(IntegrityError), transaction.atomic():
        Lock.objects.filter(pk=lock.pk).update(off_at=None, off_how="", off_by=None, off_by_name="")
    with pytest.raises(IntegrityError), transaction.atomic():
        Lock.objects.create(
            ref="x", isolation=isolation, source_name="s", number="1", holder_name="h", fitted_at=NOW
        )


# -------- what it holds up


def test_work_is_not_logged_under_the_lock_of_somebody_else(scene: Scene) -> None:
    scene.lock(scene.anna, scene.motor)
    for other in (scene.ben, scene.olga, None):
        with pytest.raises(StillLocked, match="lock 7 of Anna on Main motor"):
            scene.work(other)
    assert not Service.objects.exists()


def test_no_part_is_moved_under_the_lock_of_somebody_else(scene: Scene) -> None:
    scene.lock(scene.anna, scene.motor)
    moves: list[Callable[[], object]] = [
        lambda: actions.flip(
            by=scene.ben, at=later(9), expected_fitting_id=scene.fitting.pk, moved_at=later(8)
        ),
        lambda: actions.take_off(
            by=scene.ben, at=later(9), expected_fitting_id=scene.fitting.pk, removed_at=later(8)
        ),
        lambda: actions.replace(
            by=scene.ben,
            at=later(9),
            position_id=scene.place.pk,
            expected_fitting_id=scene.fitting.pk,
            new_part_id=scene.spare.pk,
            new_edge="A",
            moved_at=later(8),
        ),
    ]
    for move in moves:
        with pytest.raises(StillLocked):
            move()
    assert Fitting.objects.get().removed_at is None


def test_work_is_not_corrected_into_a_job_under_the_lock_of_somebody_else(scene: Scene) -> None:
    service = scene.work(scene.ben, done_at=NOW - timedelta(days=1))
    scene.lock(scene.anna, scene.motor)
    with pytest.raises(StillLocked):
        actions.correct(
            by=scene.ben, at=later(9), record=service, changes={"done_at": later(5)}, reason="typed wrong"
        )
    actions.correct(by=scene.ben, at=later(9), record=service, changes={"note": "dusty"}, reason="forgot")


def test_a_crop_change_is_not_signed_under_the_lock_of_somebody_else(scene: Scene) -> None:
    crop = Crop.objects.create(code="rape")
    scene.lock(scene.anna, scene.motor)
    with pytest.raises(StillLocked):
        actions.record_crop_change(
            by=scene.ben,
            at=later(9),
            entry=NewCropChange(
                press_id=scene.press.pk, to_crop_id=crop.pk, done_at=later(8), signed_by="Ben"
            ),
        )


def test_a_crop_change_with_other_work_asks_about_the_persons_own_lock_and_stores_all_or_nothing(
    scene: Scene,
) -> None:
    crop = Crop.objects.create(code="rape")
    scene.lock(scene.ben, scene.motor)
    before = Service.objects.count()
    entry = NewCropChange(
        press_id=scene.press.pk,
        to_crop_id=crop.pk,
        done_at=later(8),
        signed_by="Ben",
        works=(NewWork(press_id=scene.press.pk, action="inspect", done_at=later(8)),),
    )
    with pytest.raises(Doubtful) as asked:
        actions.record_crop_change(by=scene.ben, at=later(9), entry=entry)
    assert Service.objects.count() == before
    codes = [doubt.code for doubt in asked.value.doubts]
    actions.record_crop_change(by=scene.ben, at=later(9), entry=entry, confirmed=codes)
    assert Service.objects.count() == before + 2


def test_work_done_before_the_isolation_is_typed_up_at_any_time(scene: Scene) -> None:
    scene.lock(scene.anna, scene.motor)
    assert scene.work(scene.ben, done_at=NOW - timedelta(minutes=1)).pk


def test_work_on_another_press_is_not_held_up(scene: Scene) -> None:
    scene.lock(scene.anna, scene.motor)
    other = Press.objects.create(code="P2")
    entry = NewWork(press_id=other.pk, action="clean", done_at=later(1))
    assert actions.log_work(by=scene.ben, at=later(2), entry=entry).pk


def test_ones_own_lock_is_asked_about_with_the_steps_before_a_restart(scene: Scene) -> None:
    scene.lock(scene.anna, scene.motor)
    with pytest.raises(Doubtful, match="Your lock is recorded on Main motor") as asked:
        scene.work(scene.anna)
    (doubt,) = asked.value.doubts
    assert "Before the press may run again: take all tools out" in doubt.question
    assert scene.work(scene.anna, confirmed=["locks-stay"]).pk


def test_work_that_was_sent_before_stays_what_it_was(scene: Scene) -> None:
    first = scene.work(scene.ben, ref="w-1")
    scene.lock(scene.anna, scene.motor, at=later(5))
    assert scene.work(scene.ben, ref="w-1") == first


def test_a_run_logged_under_a_lock_is_asked_about(scene: Scene) -> None:
    crop = Crop.objects.create(code="rape")
    scene.lock(scene.anna, scene.motor)
    entry = NewRun(press_id=scene.press.pk, crop_id=crop.pk, started_at=later(10), seed_kg=Decimal(0))
    with pytest.raises(Doubtful, match="lock 7 of Anna on Main motor was recorded as being on"):
        actions.log_run(by=scene.ben, at=later(11), entry=entry)


def test_a_sheet_of_runs_is_asked_about_line_by_line(scene: Scene) -> None:
    crop = Crop.objects.create(code="rape")
    scene.lock(scene.anna, scene.motor)
    entry = NewRun(
        ref="s1", press_id=scene.press.pk, crop_id=crop.pk, started_at=later(10), seed_kg=Decimal(0)
    )
    with pytest.raises(SheetNotTaken) as caught:
        actions.log_sheet(by=scene.ben, at=later(11), entries=[entry])
    codes = [doubt.code for doubt in caught.value.doubts["s1"]]
    assert codes == ["pressed-while-locked"]
    assert len(actions.log_sheet(by=scene.ben, at=later(11), entries=[entry], confirmed={"s1": codes})) == 1


def test_an_energy_source_with_a_lock_on_it_is_not_removed_and_later_its_name_stays(scene: Scene) -> None:
    lock = scene.lock(scene.anna, scene.motor)
    with pytest.raises(ProtectedError), transaction.atomic():
        scene.motor.delete()
    with pytest.raises(Refused):
        actions.remove_thing(by=scene.olga, at=later(1), thing=scene.motor)
    lockouts.take_off(by=scene.anna, at=later(2), lock_ids=[lock.pk], stated=LOOKED)
    actions.remove_thing(by=scene.olga, at=later(3), thing=EnergySource.objects.get(source="Main motor"))
    lock.refresh_from_db()
    assert (lock.source, lock.source_name) == (None, "Main motor")


# -------- corrections


def test_a_number_is_corrected_with_a_reason_and_the_person_is_not(scene: Scene) -> None:
    lock = scene.lock(scene.anna, scene.motor)
    fixed = lockouts.correct_lock(
        by=scene.anna, at=later(1), lock_id=lock.pk, number="17", place="Q1", firm="", reason="misread"
    )
    assert (fixed.number, fixed.holder_name) == ("17", "Anna")
    assert AuditEntry.objects.get(record="lock", action="correct").reason == "misread"
    for how in ({"reason": " "}, {"number": " ", "reason": "x"}, {"number": "17", "reason": "x"}):
        given = {"number": "18", "place": "Q1", "firm": "", **how}
        with pytest.raises(Refused):
            lockouts.correct_lock(by=scene.anna, at=later(2), lock_id=lock.pk, **given)


def test_a_maintainer_corrects_the_number_only_once_the_lock_is_off(scene: Scene) -> None:
    lock = scene.lock(scene.anna, scene.motor)
    fix = {"lock_id": lock.pk, "number": "17", "place": "Q1", "firm": "", "reason": "misread"}
    with pytest.raises(NotAllowed):
        lockouts.correct_lock(by=scene.ben, at=later(1), **fix)
    lockouts.take_off(by=scene.anna, at=later(2), lock_ids=[lock.pk], stated=LOOKED)
    assert lockouts.correct_lock(by=scene.ben, at=later(3), **fix).number == "17"


def test_a_lock_recorded_by_mistake_is_struck_out_by_its_person_and_counts_no_more(scene: Scene) -> None:
    lock = scene.lock(scene.anna, scene.motor)
    lockouts.strike_out_lock(by=scene.anna, at=later(1), lock_id=lock.pk, reason="wrong press")
    assert fitted_locks(scene.isolation) == []
    lock.refresh_from_db()
    assert lock.void_reason == "wrong press"
